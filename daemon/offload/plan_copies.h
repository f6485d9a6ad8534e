// What is to be copied where, before the first byte. Pure: decided from what is known.
#pragma once

#include <set>
#include <span>
#include <string>
#include <vector>

#include "model.h"
#include "offload/copy.h"

namespace everytake::offload {

// A file of the card with its row, and the targets that hold a good copy of it already.
struct FileToCopy {
  FileId file;
  CardFile source;
  Path stored;
  std::set<std::size_t> done;
  std::map<std::size_t, Path> otherwise{};  // as in CopyJob
};

struct TargetRoom {
  std::string name;
  Volume volume;
};

struct CopyPlan {
  std::vector<CopyJob> jobs;         // files with nothing to do are left out
  std::vector<std::uint64_t> bytes;  // to be written, a target
  std::vector<std::uint64_t> files;  // the same
  std::vector<Problem> problems;     // no_room, too_large, read_only
  std::set<std::size_t> refused;     // targets that can't take it all: nothing is copied to them
};

// The share of a disk that is left free: filesystems slow down and break when they are full.
inline constexpr double kReserve = 0.01;

CopyPlan plan_copies(std::span<const FileToCopy> files, std::span<const TargetRoom> targets);

}  // namespace everytake::offload
