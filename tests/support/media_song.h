// "Saltmarsh Radio", a song that nobody wrote: 96 quarter notes a minute, a bar of 4/4 every 2.5 s, 128 s long.
// Intro 4 bars, verse 8, chorus 8, verse 8, chorus 8, bridge 6, chorus 8, then it fades. No two bars are alike.
#pragma once

#include <vector>

#include "support/media_movie.h"
#include "support/rooms.h"

namespace everytake::test {

inline constexpr double kSongSeconds = 128;
inline constexpr int kSongRate = 48000;

// Mono, the same in every run.
std::vector<float> make_song();

// What a camera's two microphones hear while the song plays in a room: from `start` seconds of the song (negative:
// before it begins) for `length` seconds of clip. `speed` song seconds pass in a clip second, pitch and all.
Sound heard_in_a_room(const std::vector<float>& song, double start, double length, unsigned seed, double speed = 1);

// A set between takes: no music.
Sound room_noise(double length, unsigned seed, float level = 0.02F);

}  // namespace everytake::test
