// The physical disks beneath a folder: what dies together.
#pragma once

#include <set>
#include <string>

namespace everytake {

struct Disks {
  std::set<std::string> names;  // "sda", "nvme0n1", "server 192.0.2.7", "memory"
  bool known = false;           // these are all of them: every layer was followed down to its disks
  bool operator==(const Disks&) const = default;
};

// Whether it is certain that no disk of the one is a disk of the other.
bool apart(const Disks& a, const Disks& b);

// "sda", "sda and sdb"; "disks that can't be told" where none is known.
std::string disks_text(const Disks& disks);

}  // namespace everytake
