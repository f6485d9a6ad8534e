// Songs repeat themselves. Which of several places did the clip hear?
#pragma once

#include <vector>

#include "align/fine.h"

namespace everytake::align {

// Other offsets (song samples at the clip's sample 0) whose sound resembles what the song has along `line`.
std::vector<double> similar_places(const SongIndex& song, const Windows& clip, const Line& line);

// How much better the clip goes with one line than with others. For one thread.
class Contest {
 public:
  // All must outlive this.
  Contest(const SongIndex& song, Windows& clip, const Line& champion);

  const Line& champion() const { return champion_; }
  // In deviations: by the bins in which the song differs between the two places. Near 0 where it does not differ, or
  // where the clip can't tell; 0 too where the winner lies at an end of the song and it is heard to go on; 0 too where
  // the champion fits better and yet what it alone has is not heard: then the clip holds what both have and something
  // else. Looks at few windows first, at more where those don't decide beyond `enough`.
  double against(const Line& rival, double enough);

 private:
  std::vector<int> within_song(const Line& rival, std::vector<int> windows) const;
  std::vector<int> windows_for(const Line& rival) const;
  std::vector<int> ends_for(const Line& rival) const;
  template <class Heard>
  bool agrees_beyond(const Line& line, const Line& past, Heard heard);
  const std::vector<Bin>& here(int window);
  std::optional<std::vector<Bin>> song_along(const Line& line, int window);

  const SongIndex& song_;
  Windows& clip_;
  const Line champion_;
  ShortLags lags_;
  std::vector<std::vector<Bin>> kept_;  // the song along the champion's line; empty where not looked at yet
};

}  // namespace everytake::align
