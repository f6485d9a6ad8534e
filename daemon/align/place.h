// Where in the song a clip's sound lies.
#pragma once

#include <span>
#include <vector>

#include "align/song_index.h"
#include "model.h"

namespace everytake::align {

// Speeds a song is commonly played at on a set when the plan's don't fit.
inline constexpr double kOtherSpeeds[] = {0.5, 0.8, 1.25, 1.5, 2.0};

// `clip` is mono at 8 kHz, its first sample heard at the first picture. The plan's `speeds` go first; the song's own
// and kOtherSpeeds follow where none of them fits. A pure function: the same sound gives the same place.
//   placed      one place fits, and better than every other
//   ambiguous   several fit and the sound can't tell which: `candidates` has them all (where the pitch was kept, 24 at
//               most), the best first; `start` and `spans` are the best one's
//   none        no place fits
//   no_audio    there is no sound, or silence
// The confidence is 0.5 where a place is just accepted and nears 1; it ranks places and is no probability.
Placement place(const SongIndex& song, std::span<const float> clip, std::span<const double> speeds);

}  // namespace everytake::align
