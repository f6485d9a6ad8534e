#include "pipeline/destinations.h"

#include <fmt/format.h>

#include <algorithm>

#include "base/text.h"
#include "os/paths.h"
#include "os/posix_fs.h"
#include "pipeline/marks.h"

namespace everytake::pipeline {
namespace {

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

// Whether `inner` is `outer` or lies in it.
bool contains(const Path& outer, const Path& inner) {
  const auto a = resolved(outer), b = resolved(inner);
  return std::mismatch(a.begin(), a.end(), b.begin(), b.end()).first == a.end();
}

}  // namespace

namespace {

// Whether copies of a shoot are kept in this very folder, whatever it is called.
bool is_somebodys_home(const Path& folder) {
  const auto fs = PosixFs::open_at(folder);
  return fs && (*fs)->stat(kOwnerFile).has_value();
}

}  // namespace

Result<void> check_shoot_folder(std::span<const PlannedDestination> planned, const Path& shoot,
                                const std::string& slug) {
  for (const auto& each : planned)
    if (contains(each.path / slug, shoot) || (contains(each.path, shoot) && is_somebodys_home(shoot)))
      return fail(Code::invalid,
                  fmt::format("the shoot's folder {} is where destination \"{}\" keeps its copies, and the catalogue "
                              "kept there would replace the one in use: move the shoot's folder to another place",
                              shown(shoot.string()), shown(each.name)));
  return {};
}

std::vector<OpenDestination> open_destinations(std::span<const PlannedDestination> planned) {
  std::vector<OpenDestination> open;
  for (const auto& each : planned) open.push_back(open_destination(each));
  return open;
}

namespace {

// Why these two can't be two disks; empty where they can.
std::string shared_disk(const OpenDestination& a, const OpenDestination& b) {
  const auto &ours = a.volume.disks, &theirs = b.volume.disks;
  Disks both;
  std::ranges::set_intersection(ours.names, theirs.names, std::inserter(both.names, both.names.end()));
  if (!both.names.empty()) return fmt::format("on one disk ({})", shown(disks_text(both)));
  const auto told = [](const OpenDestination& each) { return each.volume.disks.known || each.planned.own_disk; };
  return told(a) || told(b) ? "" : "on disks that can't be told apart";
}

}  // namespace

Result<void> check_disks(std::span<const OpenDestination> destinations) {
  for (std::size_t i = 0; i < destinations.size(); ++i)
    for (std::size_t j = i + 1; j < destinations.size(); ++j) {
      const auto &a = destinations[i], &b = destinations[j];
      if (!a.fs || !b.fs || a.planned.allow_same_disk || b.planned.allow_same_disk) continue;
      const auto shared = shared_disk(a, b);
      if (shared.empty()) continue;
      const bool word = a.planned.own_disk || b.planned.own_disk;
      return fail(
          Code::invalid,
          fmt::format("destinations \"{}\" and \"{}\" are {}{}: use two disks, or write same_disk = \"allow\" in "
                      "one of them - then no card is ever called safe to wipe",
                      shown(a.planned.name), shown(b.planned.name), shared, word ? ", whatever own_disk says" : ""));
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
  return {};
}

}  // namespace everytake::pipeline
