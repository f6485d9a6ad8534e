// The plan's destinations as they are at this moment: opened, looked at, or absent.
#pragma once

#include <memory>
#include <span>
#include <vector>

#include "base/fs.h"
#include "model.h"

namespace everytake {

struct OpenDestination {
  PlannedDestination planned;
  std::unique_ptr<Fs> fs;  // rooted at its path; nullptr when it is absent
  Volume volume;           // where it is there
  std::string absence;     // why it is not, for a person
};

// Opens what is there. Never makes a destination's folder: an unplugged disk's mount point must stay empty.
std::vector<OpenDestination> open_destinations(std::span<const PlannedDestination> planned);

// The first that has all of `files` of `folder` under their final names: read back and equal. nullptr where there is
// none.
const Fs* home_of(std::span<const OpenDestination> destinations, const Path& folder, std::span<const Path> files);

// Refuses (`invalid`) two destinations on one disk (or on disks that can't be told apart) where neither says
// `same_disk = "allow"`. What is absent is not looked at.
Result<void> check_disks(std::span<const OpenDestination> destinations);

// Refuses (`invalid`) what would make copies worthless: a destination inside the card or around it, and what
// check_disks() refuses.
Result<void> check_destinations(std::span<const OpenDestination> destinations, const Path& card_root);

}  // namespace everytake
