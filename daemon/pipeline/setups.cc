#include "pipeline/setups.h"

#include <algorithm>

#include "setup/assign.h"

namespace everytake::pipeline {
namespace {

using catalogue::Field;

catalogue::SetupMarks marks_of(const Setup& said, const setup::Assigned& assigned) {
  catalogue::SetupMarks marks{assigned.clip, {}, assigned.because};
  const auto add = [&](Field field, std::string value) { marks.values.emplace_back(field, std::move(value)); };
  if (said.kind) add(Field::kind, to_string(*said.kind));
  for (const auto& member : said.members) add(Field::member, member);
  for (const auto& section : said.sections) add(Field::section, section);
  if (said.look) add(Field::look, *said.look);
  if (said.angle) add(Field::angle, *said.angle);
  return marks;
}

Result<std::vector<catalogue::SetupMarks>> marks_now(const catalogue::Catalogue& catalogue) {
  const auto setups = TRY(catalogue.setups());
  std::vector<catalogue::SetupMarks> marks;
  if (setups.empty()) return marks;  // no need to read the clips
  for (const auto& assigned : setup::assign(setups, TRY(catalogue.camera_clocks()), TRY(catalogue.clips())))
    marks.push_back(marks_of(*std::ranges::find(setups, assigned.setup, &Setup::id), assigned));
  return marks;
}

}  // namespace

// Whoever changes setups, clocks or clips calls this after it, and looks again after writing: whoever writes last has
// seen all changes.
Result<void> apply_setups(catalogue::Catalogue& catalogue) {
  for (auto marks = TRY(marks_now(catalogue));;) {
    TRY(catalogue.put_setup_marks(marks));
    auto again = TRY(marks_now(catalogue));
    if (again == marks) return {};
    marks = std::move(again);
  }
}

}  // namespace everytake::pipeline
