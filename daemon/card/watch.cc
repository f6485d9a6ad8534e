#include "card/watch.h"

#include <fcntl.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <set>
#include <string>

#include "os/system_error.h"

namespace everytake::card {
namespace {

// What cameras and people format cards and disks with; pseudo filesystems, servers and layers are none of it.
bool is_media(const Mount& mount) {
  static const std::set<std::string, std::less<>> kTypes{"vfat",    "msdos",   "exfat", "texfat", "ntfs", "ntfs3",
                                                         "fuseblk", "ext2",    "ext3",  "ext4",   "xfs",  "btrfs",
                                                         "f2fs",    "hfsplus", "hfs",   "apfs",   "udf",  "iso9660"};
  // A driver in user space over a device: "fuse.exfat".
  return kTypes.count(mount.type) > 0 || (mount.type.starts_with("fuse.") && mount.source.starts_with("/dev/"));
}

// Filesystem Hierarchy Standard 3.0, section 3: what a system keeps at the top. /media, /mnt and /run/media are for
// cards; below /home and /tmp people mount them by hand.
bool is_system_place(const Path& point) {
  static const std::set<Path> kPlaces{"/",    "/boot", "/efi",  "/etc", "/home", "/lib", "/nix",
                                      "/opt", "/root", "/snap", "/srv", "/tmp",  "/usr", "/var"};
  static constexpr std::array<std::string_view, 6> kTrees{"/boot/", "/etc/", "/nix/", "/snap/", "/usr/", "/var/"};
  return kPlaces.count(point) > 0 || std::any_of(kTrees.begin(), kTrees.end(), [&](std::string_view tree) {
           return point.native().starts_with(tree);
         });
}

}  // namespace

std::vector<Mount> card_mounts(std::span<const Mount> table, std::span<const Path> kept) {
  std::set<std::string> taken;  // devices that are no card, or that were met before
  const Path root("/");
  if (const auto* system = mount_of(table, root)) taken.insert(system->device);
  for (const auto& folder : kept)
    if (const auto* mount = mount_of(table, folder)) taken.insert(mount->device);
  std::vector<Mount> cards;
  for (const auto& mount : table) {
    if (!is_media(mount) || is_system_place(mount.point)) continue;
    if (mount_of(table, mount.point) != &mount) continue;  // hidden beneath another
    if (taken.insert(mount.device).second) cards.push_back(mount);
  }
  return cards;
}

MountChange change_of(std::span<const Mount> before, std::span<const Mount> after) {
  const auto missing_in = [](std::span<const Mount> table) {
    return [table](const Mount& mount) { return std::find(table.begin(), table.end(), mount) == table.end(); };
  };
  MountChange change;
  std::copy_if(after.begin(), after.end(), std::back_inserter(change.appeared), missing_in(before));
  std::copy_if(before.begin(), before.end(), std::back_inserter(change.gone), missing_in(after));
  return change;
}

Result<Descriptor> watch_mounts() {
  Descriptor table(::open("/proc/self/mountinfo", O_RDONLY | O_CLOEXEC));
  if (table.get() < 0) return tl::unexpected(system_error("can't watch what is mounted", errno));
  return table;
}

}  // namespace everytake::card
