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

// Refuses (`invalid`) a shoot whose folder is where a destination keeps its copies, `slug` in it, or below: the
// catalogue kept there would replace the one in use.
Result<void> check_shoot_folder(std::span<const PlannedDestination> planned, const Path& shoot,
                                const std::string& slug);

// Refuses (`invalid`) two destinations that share a disk, or neither of whose disks can be told, where neither says
// `same_disk = "allow"`. A person's word (`own_disk`) counts where the system can't tell. What is absent is not looked
// at.
Result<void> check_disks(std::span<const OpenDestination> destinations);

// Refuses (`invalid`) what would make copies worthless: a destination inside the card or around it.
Result<void> check_destinations(std::span<const OpenDestination> destinations, const Path& card_root);

}  // namespace everytake::pipeline
