// Songs repeat themselves. Which of several places did the clip hear?
#pragma once

#include <vector>

#include "align/fine.h"

namespace everytake::align {

// Other offsets (song samples at the clip's sample 0) whose sound resembles what the song has along `line`.
std::vector<double> similar_places(const SongIndex& song, const Windows& clip, const Line& line);

// Compares one place in the song with others that resemble it: which of them does the clip fit? For one thread.
class Contest {
 public:
  // All must outlive this.
  Contest(const SongIndex& song, Windows& clip, const Line& champion);

  const Line& champion() const { return champion_; }
  // How much better the clip fits the champion than the rival, in standard deviations (negative: the rival). Only
  // frequencies in which the song differs between the two places count. 0 where nothing can be said:
  // - the song does not differ there, or the clip can't tell;
  // - the better place lies at an end of the song, but the clip is heard to go on past it;
  // - the champion fits better, but the sound that it alone has is not in the clip, which then holds what both places
  //   have and something else.
  // Looks at few windows first, and at more where those don't decide beyond `enough`.
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
