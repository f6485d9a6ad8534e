// Which of the places that fit by sound? The clip before or after may tell, where the playback ran on between them.
#pragma once

#include <span>
#include <utility>
#include <vector>

#include "model.h"

namespace everytake::align {

// The placements to change. A clip with several candidates gets the one that its neighbours tell; a clip that was
// settled so before and is not any more becomes ambiguous again.
//
// A neighbour is a clip of the same roll that ends or begins within 20 s and is placed by its own sound or by hand.
// Both times of recording must be known, and both must hold the playback up to the ends that face each other. Where two
// neighbours disagree nothing is settled. A pure function of the clips; their order makes no difference.
std::vector<std::pair<ClipId, Placement>> settle(std::span<const Clip> clips);

}  // namespace everytake::align
