// Which of the places that fit by sound? The clip before or after may tell, where the playback ran on between them.
#pragma once

#include <span>
#include <utility>
#include <vector>

#include "model.h"

namespace everytake::align {

// The placements by rule that become others: clips with several candidates of which neighbours of the same continuous
// take tell one, and clips that were settled so before and are not any more. A neighbour is a clip of the same roll,
// placed by its own sound or by hand, that ends or begins within 20 s; both times of recording must be known, and the
// playback must have been heard up to the ends that face each other. Neighbours that tell different things tell
// nothing. A pure function of the clips; their order makes no difference.
std::vector<std::pair<ClipId, Placement>> settle(std::span<const Clip> clips);

}  // namespace everytake::align
