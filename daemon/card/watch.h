// Mounts that come and go, and which of them may be a camera's card.
#pragma once

#include <span>
#include <vector>

#include "os/mounts.h"
#include "os/posix_fs.h"

namespace everytake::card {

// The mounts of `table` that a card may hide behind: filesystems that media are formatted with, each once. Left out are
// the system's own places and whatever holds one of the `kept` folders (destinations, the shoot).
std::vector<Mount> card_mounts(std::span<const Mount> table, std::span<const Path> kept);

// A mount that was taken away and put back at the same point has another id, and is in both.
struct MountChange {
  std::vector<Mount> appeared;
  std::vector<Mount> gone;
};
MountChange change_of(std::span<const Mount> before, std::span<const Mount> after);

// For poll(): tells POLLPRI and POLLERR once after every change of what read_mounts() gives.
Result<Descriptor> watch_mounts();

}  // namespace everytake::card
