// Makes recordings as cameras do, with libav, bit for bit the same each time. Throws where libav refuses.
#pragma once

#include <cstdint>
#include <functional>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "base/rational.h"
#include "os/fs.h"
#include "support/rooms.h"

namespace everytake::test {

struct Sound {
  int rate_hz = 48000;
  int channels = 1;
  std::vector<float> samples;  // interleaved
};

// R'G'B' in 0…1 at (x, y) in 0…1 of frame n.
struct Colour {
  float r = 0, g = 0, b = 0;
};
using Painter = std::function<Colour(float x, float y, int frame)>;

struct Movie {
  std::string format = "mp4";           // libavformat's muxer
  std::string video_codec = "libx264";  // encoder; empty for no picture
  std::string audio_codec = "aac";
  std::string pixels = "yuv420p";
  Rational rate{24000, 1001};
  int frames = 48;
  int width = 320, height = 180;
  int coarse = 1;  // each painted point is this many pixels wide and high: quicker
  std::optional<Sound> sound;
  double sound_delay = 0;                               // s; negative: the sound begins before the picture
  std::optional<std::pair<double, double>> sound_hole;  // s: from where on the rest comes how much later
  std::optional<std::string> timecode;                  // of a timecode track
  std::string ancillary;                                // of each frame, SMPTE ST 436-1: MXF without B frames
  std::string created;                                  // "2026-05-16T08:00:00Z"
  bool index_first = false;                             // the index stands before the pictures
  bool full_range = false;
  std::optional<int> key_every;                 // frames from one key frame to the next at most
  std::map<std::string, std::string> tags;      // of the file
  std::map<std::string, std::string> options;   // of the muxer: {"movflags", "frag_keyframe"}
  std::function<std::int64_t(int frame)> time;  // in 1/rate; where a frame is shown, for a variable rate
  Painter paint;                                // a moving test picture where it is empty
};

void make_movie(const Path& path, const Movie& movie);
std::string movie_bytes(const Movie& movie);  // the same, in memory

}  // namespace everytake::test
