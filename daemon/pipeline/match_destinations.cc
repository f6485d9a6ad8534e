#include "pipeline/match_destinations.h"

#include <fmt/format.h>

#include <algorithm>

#include "base/text.h"
#include "pipeline/marks.h"

namespace everytake {
namespace {

using Rows = std::span<const DestinationRow>;

std::string named(const DestinationPlace& place) {
  return fmt::format("destination \"{}\"", shown(place.open->planned.name));
}

// Reads the mark of a folder that is open.
std::optional<Problem> look_at_mark(DestinationPlace& place) {
  auto mark = read_mark(*place.open->fs);
  if (mark) {
    place.mark = mark->value_or("");
    return std::nullopt;
  }
  const bool odd = mark.error().code == Code::invalid;
  return Problem{odd ? "bad_mark" : "destination_absent", "", place.open->planned.name,
                 fmt::format("{}: {}", named(place), mark.error().what)};
}

std::optional<Problem> other_disk(const DestinationPlace& place, Rows rows) {
  const auto is_its = [&](const DestinationRow& row) { return !place.mark.empty() && row.mark == place.mark; };
  const auto it = std::ranges::find_if(rows, is_its);
  const auto what =
      it == rows.end()
          ? "is not the disk that holds its copies: connect that one. If it is lost, give this one a name of its own "
            "in "
            "the plan"
          : fmt::format("is the folder known as \"{}\": call it so in the plan, or mount each disk where it was",
                        shown(it->name));
  return Problem{"other_disk", "", place.open->planned.name, fmt::format("{} {}", named(place), what)};
}

// Whether the open folder is the one that `row` speaks of.
std::optional<Problem> compare(DestinationPlace& place, const DestinationRow& row, Rows rows) {
  const auto& now = place.open->volume.uuid;
  const bool same_uuid = !row.fs_uuid.empty() && row.fs_uuid == now;
  if (!row.fs_uuid.empty() && !now.empty() && !same_uuid) return other_disk(place, rows);
  if (!row.mark.empty() && place.mark.empty())
    return Problem{
        "destination_absent", "", place.open->planned.name,
        fmt::format("{} is not in {}: its mark ({}) is not there. Connect its disk; if you emptied the disk, "
                    "give it a name of its own",
                    named(place), shown(place.open->planned.path.string()), kMarkFile)};
  if (!row.mark.empty() && row.mark != place.mark) return other_disk(place, rows);
  place.is_vouched_for = same_uuid || !row.mark.empty();
  return std::nullopt;
}

// Where copies were made already a new folder would not be the right one.
std::optional<Problem> absence_of(DestinationPlace& place, const DestinationRow* row, Rows rows) {
  if (!place.open->fs)
    return Problem{"destination_absent", "", place.open->planned.name,
                   fmt::format("{} is not there: connect its disk{} ({})", named(place),
                               row ? "" : ", or make the folder", place.open->absence)};
  if (auto trouble = look_at_mark(place)) return trouble;
  if (row) return compare(place, *row, rows);
  const bool is_known = !place.mark.empty() &&
                        std::ranges::any_of(rows, [&](const DestinationRow& each) { return each.mark == place.mark; });
  return is_known ? other_disk(place, rows) : std::nullopt;
}

}  // namespace

void refuse_twins(std::vector<DestinationPlace>& places) {
  for (auto& place : places)
    for (const auto& other : places) {
      if (&place == &other || place.mark.empty() || place.mark != other.mark || !other.open->fs) continue;
      const auto &ours = place.open->planned, &theirs = other.open->planned;
      if (ours.name == theirs.name || ours.path == theirs.path) continue;  // asked for twice: the same one
      place.absence = Problem{
          "cloned_mark", "", ours.name,
          fmt::format(
              "{} and \"{}\" bear the same mark: they are one folder twice, or one disk is a copy of the other. See "
              "whether both paths lead to one disk; if one is a copy, remove {} from it and give it a name of its own",
              named(place), shown(theirs.name), kMarkFile)};
    }
}

std::vector<DestinationPlace> places_of(std::span<OpenDestination> open, std::span<const DestinationRow> rows) {
  std::vector<DestinationPlace> places;
  for (auto& each : open) {
    const auto it = std::ranges::find_if(rows, [&](const auto& row) { return row.name == each.planned.name; });
    const auto* row = it == rows.end() ? nullptr : &*it;
    auto& place = places.emplace_back();
    place.open = &each;
    if (row) place.id = row->id;
    if (row) place.home = row->home;
    place.absence = absence_of(place, row, rows);
  }
  refuse_twins(places);
  return places;
}

std::vector<RollsAt> rolls_at(std::span<const DestinationPlace> places, const std::string& slug) {
  std::vector<RollsAt> all;
  for (const auto& place : places)
    if (place.is_here()) all.push_back({place.open->fs.get(), place.home.empty() ? Path(slug) : place.home});
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

}  // namespace everytake
