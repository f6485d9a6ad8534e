#include "places.h"

#include <fmt/format.h>

#include <algorithm>

#include "base/text.h"

namespace everytake {
namespace {

std::optional<Problem> absence_of(const OpenDestination& open, const DestinationRow* row) {
  const auto name = shown(open.planned.name);
  if (!open.fs)
    return Problem{
        "destination_absent", "", open.planned.name,
        fmt::format("destination \"{}\" is not there: connect its disk, or make the folder ({})", name, open.absence)};
  if (row && !row->fs_uuid.empty() && !open.volume.uuid.empty() && row->fs_uuid != open.volume.uuid)
    return Problem{
        "other_disk", "", open.planned.name,
        fmt::format("destination \"{}\" is another disk than before: give the new one a name of its own", name)};
  return std::nullopt;
}

}  // namespace

std::vector<DestinationPlace> places_of(std::span<OpenDestination> open, std::span<const DestinationRow> rows) {
  std::vector<DestinationPlace> places;
  for (auto& each : open) {
    const auto row = std::find_if(rows.begin(), rows.end(), [&](const auto& r) { return r.name == each.planned.name; });
    const auto* known = row == rows.end() ? nullptr : &*row;
    places.push_back({&each, known ? known->id : DestinationId{}, absence_of(each, known)});
  }
  return places;
}

}  // namespace everytake
