// Sound at another speed.
#pragma once

#include <span>
#include <vector>

namespace everytake::align {

// What `sound` would be had it been played at the song's own speed: `speed` seconds come out for each that goes in, and
// the pitch moves along. Sample 0 stays sample 0. What the lower of the two rates can't carry is filtered out.
std::vector<float> slowed_down(std::span<const float> sound, double speed);

}  // namespace everytake::align
