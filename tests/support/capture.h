// How a song sounds on a clip: played over a speaker in a room, heard by a camera among other things. Everything is
// computed here from a seed, the same in every run.
#pragma once

#include <span>
#include <string>
#include <vector>
#include "support/rooms.h"

namespace everytake::test {

inline constexpr int kTrackRate = 16000;  // Hz, of songs and clips in this file; mono
using Track = std::vector<float>;

// A random generator of our own: the library's distributions differ between systems. PCG-XSH-RR (O'Neill, 2014).
class Random {
 public:
  explicit Random(std::uint64_t seed) : state_(seed * 6364136223846793005ULL + 1442695040888963407ULL) { next(); }
  std::uint32_t next();
  double uniform(double low, double high) { return low + (high - low) * next() / 4294967296.0; }
  int below(int n) { return static_cast<int>(next() % static_cast<std::uint32_t>(n)); }
  double normal();

 private:
  std::uint64_t state_;
};

// What a clip went through.
struct Capture {
  double start = 0;    // song time heard at the clip's first sample, were the playback running; may be negative
  double length = 30;  // s
  double speed = 1;    // song seconds a clip second
  bool pitch_moves = true;
  double drift_ppm = 0;
  double plays_from = 0, plays_to = 1e9;          // clip seconds between which the playback runs
  double decay = 0.5;                             // s, of the room: to −60 dB
  double direct = 1;                              // of the direct sound against the room's, as amplitudes
  double speaker_low = 150, speaker_high = 7000;  // Hz
  double noise_db = 20;                           // music above noise; of the playing music's power
  double talk_db = 99;                            // music above talk
  bool gain_control = false;
  double clipping = 0;  // the share of the peak that is cut off
  unsigned seed = 1;
  const Track* room = nullptr;  // a response to use instead of a made-up decay
};

// The song through all that.
Track captured(const Track& song, const Capture& how);

// A set without playback: talk and noise.
Track set_noise(double length, unsigned seed, bool with_talk);

// The song between samples: windowed sinc (32 points); silence outside.
float track_at(const Track& song, double sample);

}  // namespace everytake::test
