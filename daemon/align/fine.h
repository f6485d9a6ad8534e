// Where exactly a clip lies, near a place that is known to 20 ms.
#pragma once

#include <optional>
#include <vector>

#include "align/song_index.h"
#include "align/windows.h"

namespace everytake::align {

// song sample = start + (1 + drift) · clip sample.
struct Line {
  double start = 0;
  double drift = 0;
  double score = 0;         // of the windows together, in deviations
  int first = 0, last = 0;  // the clip's windows [first, last) that agree with it
  double at(double clip_sample) const { return start + (1 + drift) * clip_sample; }
};

// The line with the best agreement near `offset` (in song samples at the clip's sample 0), of the clip's samples
// [from, to) cut into no more than `most` windows. Each window is compared by generalised cross-correlation with phase
// transform (Knapp & Carter 1976); the results are added up along every line a clock may draw.
// Where `drift` is given the clocks are known, and only those lines are tried.
// nullopt where there is no sound to compare.
std::optional<Line> search_line(const SongIndex& song, Windows& clip, double offset, int from, int to, int most,
                                std::optional<double> drift = {});

// The same line through all windows of the clip: finer than a sample, with the windows that agree. The score stays.
Line refine_line(const SongIndex& song, Windows& clip, const Line& line);

}  // namespace everytake::align
