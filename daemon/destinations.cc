#include "destinations.h"

#include <fmt/format.h>

#include <algorithm>
#include <boost/filesystem.hpp>

#include "base/posix_fs.h"
#include "base/text.h"

namespace everytake {
namespace {

namespace fs = boost::filesystem;

OpenDestination open_destination(const PlannedDestination& planned) {
  OpenDestination destination{planned, nullptr, {}, ""};
  auto opened = PosixFs::open_at(planned.path);
  if (opened) {
    auto volume = (*opened)->volume();
    if (volume) {
      destination.volume = std::move(*volume);
      destination.fs = std::move(*opened);
      return destination;
    }
    destination.absence = volume.error().what;
  } else {
    destination.absence = opened.error().what;
  }
  return destination;
}

// Whether `inner` is `outer` or lies in it, links resolved.
bool contains(const Path& outer, const Path& inner) {
  boost::system::error_code none;
  const auto a = fs::weakly_canonical(outer, none), b = fs::weakly_canonical(inner, none);
  return std::mismatch(a.begin(), a.end(), b.begin(), b.end()).first == a.end();
}

}  // namespace

std::vector<OpenDestination> open_destinations(std::span<const PlannedDestination> planned) {
  std::vector<OpenDestination> open;
  for (const auto& each : planned) open.push_back(open_destination(each));
  return open;
}

const Fs* home_of(std::span<const OpenDestination> destinations, const Path& folder, std::span<const Path> files) {
  for (const auto& each : destinations)
    if (each.fs &&
        std::all_of(files.begin(), files.end(), [&](const Path& file) { return each.fs->stat(folder / file); }))
      return each.fs.get();
  return nullptr;
}

Result<void> check_disks(std::span<const OpenDestination> destinations) {
  for (std::size_t i = 0; i < destinations.size(); ++i)
    for (std::size_t j = i + 1; j < destinations.size(); ++j) {
      const auto &a = destinations[i], &b = destinations[j];
      if (!a.fs || !b.fs || a.volume.disk != b.volume.disk) continue;
      if (a.planned.allow_same_disk || b.planned.allow_same_disk) continue;
      return fail(Code::invalid,
                  fmt::format("destinations \"{}\" and \"{}\" are {}: use two disks, or write same_disk = \"allow\" in "
                              "one of them - then no card is ever called safe to wipe",
                              shown(a.planned.name), shown(b.planned.name),
                              a.volume.disk.empty() ? "on disks that can't be told apart"
                                                    : fmt::format("on one disk ({})", shown(a.volume.disk))));
    }
  return {};
}

Result<void> check_destinations(std::span<const OpenDestination> destinations, const Path& card_root) {
  for (const auto& each : destinations) {
    if (contains(card_root, each.planned.path))
      return fail(Code::invalid, fmt::format("destination \"{}\" is inside the card: choose a folder on another disk",
                                             shown(each.planned.name)));
    if (contains(each.planned.path, card_root))
      return fail(Code::invalid, fmt::format("the card is inside destination \"{}\": choose another folder",
                                             shown(each.planned.name)));
  }
  return check_disks(destinations);
}

}  // namespace everytake
