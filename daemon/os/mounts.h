// What is mounted, as the kernel tells it.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "os/fs.h"

namespace everytake {

// One line of /proc/PID/mountinfo (proc(5)), its octal escapes undone.
struct Mount {
  std::uint64_t id = 0;
  std::string device;                      // "8:17"; an anonymous number, "0:…", where no block device is mounted
  std::string root;                        // which folder of the filesystem is mounted: "/" for all of it
  Path point;                              // where
  std::string type;                        // "exfat", "fuse.sshfs"
  std::string source;                      // "/dev/sdb1", "server:/share"
  std::vector<std::string> options;        // of this mount: "rw", "noatime"
  std::vector<std::string> super_options;  // of the filesystem, wherever it is mounted: "ro", "addr=192.0.2.7"

  // The same mount, with whatever options it has got meanwhile.
  bool operator==(const Mount& other) const;
};

// What "key=" is followed by in each of `options` that begins so, in their order.
std::vector<std::string> values_of(std::span<const std::string> options, std::string_view key);
bool has_option(std::span<const std::string> options, std::string_view option);

std::optional<Mount> parse_mount(std::string_view line);
// In the table's order: of two at one point, the later hides the earlier. Lines that are no mount are left out.
std::vector<Mount> parse_mounts(std::string_view table);

// The mount that `path` (absolute, without "..") lies on; nullptr where the table has none. Links are not resolved.
const Mount* mount_of(std::span<const Mount> table, const Path& path);

// This process's table. Touches no disk.
Result<std::vector<Mount>> read_mounts();

// The mount that the open file or folder `fd` was reached through. nullopt where the table does not have it: it was
// unmounted beneath the file (`umount -l`), or the kernel does not tell (before Linux 5.8).
std::optional<Mount> mount_of(int fd);

}  // namespace everytake
