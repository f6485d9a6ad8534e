// Songs put together as songs are: from a kit of sounds, in bars, with choruses that are copies of each other.
#pragma once

#include <vector>

#include "support/capture.h"
#include "support/rooms.h"

namespace everytake::test {

struct MadeSong {
  Track sound;
  double bar = 2;  // s
  struct Part {
    char name;  // 'i'ntro, 'v'erse, 'c'horus, 'b'ridge
    double start, end;
  };
  std::vector<Part> parts;
  // Whether what sounds in song time [from, to] stands elsewhere too, sample by sample.
  bool repeats(double from, double to) const;
  // Where else it begins.
  std::vector<double> repeats_of(double from, double to) const;
};

// `kit` chooses tempo, drums, key and sounds; `tune` chooses chords and melodies. Two songs from one kit share tempo
// and drum loops to the sample. Choruses are identical; verses share chords and drums, not the melody; in a song
// `of_loops` verses are identical too.
MadeSong make_song_of(unsigned kit, unsigned tune, bool of_loops = false);

}  // namespace everytake::test
