// The plan's destinations as they are at this moment: opened, looked at, or absent.
#pragma once

#include <memory>
#include <span>
#include <vector>

#include "model.h"
#include "os/fs.h"

namespace everytake::pipeline {

struct OpenDestination {
  PlannedDestination planned;
  std::unique_ptr<Fs> fs;  // rooted at its path; nullptr when it is absent
  Volume volume;           // where it is there
  std::string absence;     // why it is not, for a person
};

// Opens what is there. Never makes a destination's folder: an unplugged disk's mount point must stay empty.
std::vector<OpenDestination> open_destinations(std::span<const PlannedDestination> planned);

// Refuses (`invalid`) a shoot that stands in or below the folder `slug` of one of its own destinations: the catalogue
// that is kept there after each visit would replace the one in use.
Result<void> check_shoot_folder(std::span<const PlannedDestination> planned, const Path& shoot,
                                const std::string& slug);

// Refuses (`invalid`) two destinations on one disk, and two of which the system can't tell on which disks they are. The
// plan may allow it (`same_disk = "allow"`), and its `own_disk` counts where the system can't tell. Absent destinations
// are not looked at.
Result<void> check_disks(std::span<const OpenDestination> destinations);

// Refuses (`invalid`) what would make copies worthless: a destination inside the card or around it.
Result<void> check_destinations(std::span<const OpenDestination> destinations, const Path& card_root);

}  // namespace everytake::pipeline
