#include "pipeline/on_card.h"

#include <fmt/format.h>
#include <sys/sysmacros.h>

#include <algorithm>
#include <array>

#include "base/text.h"
#include "card/watch.h"
#include "os/mounts.h"
#include "os/posix_fs.h"

namespace everytake::pipeline {
namespace {

// Folders that cameras make, at the top of a card or in another of these (DCF 2.0 names DCIM; the others: common
// practice, see card/layouts.h).
bool is_cameras_folder(const Path& folder) {
  constexpr std::array<std::string_view, 8> kNames{"dcim",   "private", "m4root", "contents",
                                                   "xdroot", "avchd",   "bdmv",   "clips001"};
  return std::ranges::find(kNames, lower_case(folder.filename().string())) != kNames.end();
}

// The top of the card that a folder of it belongs to: of one called DCIM, PRIVATE and the like the folder above, and so
// on. The folder itself where it has no such name.
Path card_top(const Path& folder) {
  auto top = folder;
  while (is_cameras_folder(top) && top.has_parent_path()) top = top.parent_path();
  return top;
}

}  // namespace

bool is_on_card(const OpenDestination& destination, const Card& card) {
  if (!card.is_medium || !destination.fs) return false;
  const auto theirs = destination.fs->stat(""), cards = card.fs.stat("");
  if (theirs && cards && theirs->device == cards->device) return true;
  if (card.volume.source.starts_with("/dev/loop"))
    return false;  // an image in a file: formatting it leaves the disk alone
  const auto& a = destination.volume.disks.names;
  const auto& b = card.volume.disks.names;
  return std::ranges::any_of(a, [&](const auto& disk) { return b.contains(disk); });
}

Result<void> check_not_on_card(std::span<const OpenDestination> destinations, const Card& card) {
  TRY(check_destinations(destinations, card_top(card.root)));
  for (const auto& each : destinations)
    if (is_on_card(each, card))
      return fail(
          Code::invalid,
          fmt::format("destination \"{}\" is on the card itself, and would be wiped with it: choose a folder on "
                      "another disk",
                      shown(each.planned.name)));
  return {};
}

bool is_medium(const ReadFs& fs, const Volume& volume, const Path& shoot) {
  const auto table = read_mounts();
  const auto root = fs.stat("");
  if (!table || !root) return false;
  const auto device = fmt::format("{}:{}", major(root->device), minor(root->device));
  const auto top = PosixFs::open_at(volume.mount_point);
  const auto entries = top ? (*top)->list("") : tl::unexpected(top.error());
  const bool cameras =
      entries && std::ranges::any_of(*entries, [](const DirEntry& entry) { return is_cameras_folder(entry.name); });
  const auto media = card::card_mounts(*table, std::span(&shoot, cameras ? 0U : 1U));
  return std::ranges::any_of(media, [&](const Mount& mount) { return mount.device == device; });
}

std::vector<std::string> beside(const Path& folder, const Volume& volume, bool medium) {
  const auto top = medium && !volume.mount_point.empty() ? volume.mount_point : card_top(folder);
  std::vector<std::string> names;
  auto below = folder;
  while (below != top && below.has_parent_path() && below != below.parent_path()) {
    const auto above = below.parent_path();
    const auto open = PosixFs::open_at(above);
    const auto entries = open ? (*open)->list("") : tl::unexpected(open.error());
    if (!entries) {
      names.push_back(above.string() + " (it can't be listed)");
      break;
    }
    for (const auto& entry : *entries)
      if (entry.name != below.filename()) names.push_back((above / entry.name).lexically_relative(top).string());
    below = above;
  }
  std::ranges::sort(names);
  return names;
}

}  // namespace everytake::pipeline
