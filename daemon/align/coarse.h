// Where in the song a clip may lie, to 20 ms, by the ups and downs of its bands.
#pragma once

#include <cstddef>
#include <vector>

#include "align/features.h"
#include "align/song_index.h"

namespace everytake::align {

// The clip's frames [from, to) go well with the song's from `offset + from` on.
struct CoarsePlace {
  int offset = 0;   // the song's frame at the clip's frame 0; negative where the camera rolled before the song
  double part = 0;  // of a frame, to add to the offset
  int from = 0, to = 0;
  double score = 0;   // how far the run stands out, in deviations: Σ z / √blocks
  double weight = 0;  // what places are ranked by: Σ (z − kDull) over the run
};

// The `most` best places, best first, no two nearer than a fifth of a second. Blocks of about 4 s are correlated with
// the whole song; of each place counts the best run of blocks (Kadane's maximum subarray), so that playback may begin
// late, end early or be drowned for a while.
std::vector<CoarsePlace> coarse_places(const SongIndex& song, const Features& clip, std::size_t most);

// How well the clip's frames [from, from + count) go with each place of the song: result[i] belongs to the song frame
// i − count + 1 and is Σ clip·song over bands and frames. `count` is kLongestBlock at most.
std::vector<float> correlate(const SongIndex& song, const Features& clip, int from, int count);

}  // namespace everytake::align
