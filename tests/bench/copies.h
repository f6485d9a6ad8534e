// Where recorded music repeats itself to the sample: loops, sequencers, a chorus that was pasted.
#pragma once

#include <vector>

#include "support/capture.h"
#include "support/rooms.h"

namespace everytake::bench {

// The song times other than `from` at which the sound of [from, to) stands again: the rest that differs, at the best
// gain and between samples, holds less than a hundredth of the power (−20 dB). By the waveforms alone, so that it owes
// nothing to what it judges.
std::vector<double> copies_in(const test::Track& song, double from, double to);

}  // namespace everytake::bench
