#include <fmt/format.h>

#include <CLI/App.hpp>

#include "base/text.h"
#include "cli/answer.h"
#include "cli/choose.h"
#include "cli/clip_filter.h"
#include "cli/new_file.h"
#include "cli/picture.h"
#include "cli/shoot.h"
#include "cli/stop.h"
#include "export/sheet_html.h"

namespace everytake::cli {
namespace {

exports::SheetClip entry_of(const Clip& clip, const Plan& plan) {
  exports::SheetClip entry;
  entry.name = clip.roll + "/" + clip.name;
  if (clip.judgement.kind) entry.kind = to_string(*clip.judgement.kind);
  if (clip.facts.duration) entry.length = fmt::format("{:.1f} s", seconds(*clip.facts.duration));
  entry.members = joined(clip.members);
  entry.places = joined(sections_of(clip, plan));
  for (const auto& problem : clip.facts.problems) entry.problems.push_back(problem.message);
  return entry;
}

// A clip without a picture is on the sheet all the same, with the reason on `err`.
Result<std::vector<exports::SheetClip>> entries(const std::vector<Clip>& clips, const ClipFilter& filter,
                                                const pipeline::Shoot& shoot, Session& session, std::stop_token stop) {
  const examiner::Examiner examiner;
  std::vector<exports::SheetClip> sheet;
  for (const auto& clip : clips) {
    if (!passes(clip, filter, shoot.plan)) continue;
    sheet.push_back(entry_of(clip, shoot.plan));
    auto picture = picture_of(clip, shoot, examiner, stop);
    if (stop.stop_requested()) return fail(Code::cancelled, "stopped: no sheet was made");
    if (picture)
      sheet.back().jpeg = std::move(*picture);
    else
      remark(picture.error().what, session);
  }
  return sheet;
}

Result<std::size_t> make_sheet(const FilterWords& words, const Path& file, const pipeline::Shoot& shoot,
                               Session& session, std::stop_token stop) {
  TRY(check_new(file));
  const auto filter = TRY(filter_of(words, shoot.plan));
  const auto clips = TRY(clips_of(shoot));
  const auto sheet = TRY(entries(clips, filter, shoot, session, std::move(stop)));
  if (sheet.empty()) return std::size_t{0};
  TRY(write_new(file, exports::sheet_html(shoot.plan.title, sheet)));
  return sheet.size();
}

}  // namespace

Run declare_sheet(CLI::App& command) {
  const auto words = std::make_shared<FilterWords>();
  const auto out = std::make_shared<std::string>();
  declare_filter(command, *words);
  command.add_option("--out", *out, "the new HTML file, pictures inside")->required();
  return [words, out](Session& session) {
    const StopOnSignal stop;
    const auto shoot = load_shoot(session);
    if (!shoot) return shoot.error();
    const auto count = make_sheet(*words, absolute_folder(*out, session), *shoot, session, stop.token());
    if (!count) return stop.exit().value_or(report(count.error(), session));
    if (session.json) print_json({{"clips", *count}}, session);
    if (*count == 0) {
      remark("No clip matches, so no sheet was made.", session);
      return pipeline::Exit::no;
    }
    if (!session.json) session.out << fmt::format("{}: {}\n", shown(*out), counted(*count, "clip"));
    return pipeline::Exit::done;
  };
}

}  // namespace everytake::cli
