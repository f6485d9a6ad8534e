// What is mounted, as the kernel tells it.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "base/fs.h"

namespace everytake {

// One line of /proc/PID/mountinfo (proc(5)), its octal escapes undone.
struct Mount {
  std::uint64_t id = 0;
  std::string device;  // "8:17"; an anonymous number, "0:…", where no block device is mounted
  std::string root;    // which folder of the filesystem is mounted: "/" for all of it
  Path point;          // where
  std::string type;    // "exfat", "fuse.sshfs"
  std::string source;  // "/dev/sdb1", "server:/share"
  bool operator==(const Mount&) const = default;
};

std::optional<Mount> parse_mount(std::string_view line);
// In the table's order: of two at one point, the later hides the earlier. Lines that are no mount are left out.
std::vector<Mount> parse_mounts(std::string_view table);

// The mount that `path` (absolute, without "..") lies on; nullptr where the table has none. Links are not resolved.
const Mount* mount_of(std::span<const Mount> table, const Path& path);

// This process's table. Touches no disk.
Result<std::vector<Mount>> read_mounts();

}  // namespace everytake
