#include "pipeline/match_destinations.h"

#include <fmt/format.h>

#include <algorithm>

#include "base/text.h"
#include "pipeline/marks.h"

namespace everytake::pipeline {
namespace {

using Rows = std::span<const catalogue::DestinationRow>;

std::string named(const MatchedDestination& matched) {
  return fmt::format("destination \"{}\"", shown(matched.open->planned.name));
}

// Reads the mark of a folder that is open.
std::optional<Problem> look_at_mark(MatchedDestination& matched) {
  auto mark = read_mark(*matched.open->fs);
  if (mark) {
    matched.mark = mark->value_or("");
    return std::nullopt;
  }
  const bool odd = mark.error().code == Code::invalid;
  return Problem{odd ? ProblemCode::bad_mark : ProblemCode::destination_absent, "", matched.open->planned.name,
                 fmt::format("{}: {}", named(matched), mark.error().what)};
}

std::optional<Problem> other_disk(const MatchedDestination& matched, Rows rows) {
  const auto is_its = [&](const catalogue::DestinationRow& row) {
    return !matched.mark.empty() && row.mark == matched.mark;
  };
  const auto it = std::ranges::find_if(rows, is_its);
  const auto what =
      it == rows.end()
          ? "is not the disk that holds its copies: connect that one. If it is lost, give this one a name of its own "
            "in "
            "the plan"
          : fmt::format("is the folder known as \"{}\": call it so in the plan, or mount each disk where it was",
                        shown(it->name));
  return Problem{ProblemCode::other_disk, "", matched.open->planned.name, fmt::format("{} {}", named(matched), what)};
}

// Whether the open folder is the one that `row` speaks of.
std::optional<Problem> compare(MatchedDestination& matched, const catalogue::DestinationRow& row, Rows rows) {
  const auto& now = matched.open->volume.uuid;
  const bool same_uuid = !row.fs_uuid.empty() && row.fs_uuid == now;
  if (!row.fs_uuid.empty() && !now.empty() && !same_uuid) return other_disk(matched, rows);
  if (!row.mark.empty() && matched.mark.empty())
    return Problem{
        ProblemCode::destination_absent, "", matched.open->planned.name,
        fmt::format("{} is not in {}: its mark ({}) is not there. Connect its disk; if you emptied the disk, "
                    "give it a name of its own",
                    named(matched), shown(matched.open->planned.path.string()), kMarkFile)};
  if (!row.mark.empty() && row.mark != matched.mark) return other_disk(matched, rows);
  matched.is_vouched_for = same_uuid || !row.mark.empty();
  return std::nullopt;
}

// Where copies were made already a new folder would not be the right one.
std::optional<Problem> absence_of(MatchedDestination& matched, const catalogue::DestinationRow* row, Rows rows) {
  if (!matched.open->fs)
    return Problem{ProblemCode::destination_absent, "", matched.open->planned.name,
                   fmt::format("{} is not there: connect its disk{} ({})", named(matched),
                               row ? "" : ", or make the folder", matched.open->absence)};
  if (auto trouble = look_at_mark(matched)) return trouble;
  if (row) return compare(matched, *row, rows);
  const bool is_known = !matched.mark.empty() && std::ranges::any_of(rows, [&](const catalogue::DestinationRow& each) {
    return each.mark == matched.mark;
  });
  return is_known ? other_disk(matched, rows) : std::nullopt;
}

}  // namespace

void refuse_twins(std::vector<MatchedDestination>& matches) {
  for (auto& matched : matches)
    for (const auto& other : matches) {
      if (&matched == &other || matched.mark.empty() || matched.mark != other.mark || !other.open->fs) continue;
      const auto &ours = matched.open->planned, &theirs = other.open->planned;
      if (ours.name == theirs.name || ours.path == theirs.path) continue;  // asked for twice: the same one
      matched.absence = Problem{
          ProblemCode::cloned_mark, "", ours.name,
          fmt::format(
              "{} and \"{}\" bear the same mark: they are one folder twice, or one disk is a copy of the other. See "
              "whether both paths lead to one disk; if one is a copy, remove {} from it and give it a name of its own",
              named(matched), shown(theirs.name), kMarkFile)};
    }
}

std::vector<MatchedDestination> match_destinations(std::span<OpenDestination> open,
                                                   std::span<const catalogue::DestinationRow> rows) {
  std::vector<MatchedDestination> matches;
  for (auto& each : open) {
    const auto it = std::ranges::find_if(rows, [&](const auto& row) { return row.name == each.planned.name; });
    const auto* row = it == rows.end() ? nullptr : &*it;
    auto& matched = matches.emplace_back();
    matched.open = &each;
    if (row) matched.id = row->id;
    if (row) matched.home = row->home;
    matched.absence = absence_of(matched, row, rows);
  }
  refuse_twins(matches);
  return matches;
}

std::vector<RollsAt> rolls_at(std::span<const MatchedDestination> matches, const std::string& slug) {
  std::vector<RollsAt> all;
  for (const auto& matched : matches)
    if (matched.is_here()) all.push_back({matched.open->fs.get(), matched.home.empty() ? Path(slug) : matched.home});
  return all;
}

std::optional<RollsAt> holder_of(std::span<const RollsAt> all, const std::string& roll, std::span<const Path> files) {
  for (const auto& each : all) {
    const auto folder = each.folder / roll;
    if (std::ranges::all_of(files, [&](const Path& file) { return each.fs->stat(folder / file).has_value(); }))
      return RollsAt{each.fs, folder};
  }
  return std::nullopt;
}

}  // namespace everytake::pipeline
