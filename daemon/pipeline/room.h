// How long a disk still lasts, at the rates this shoot's own clips were recorded with.
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "model.h"

namespace everytake::pipeline {

// The clips of one camera, codec, size and frame rate. Rates in bit/s.
struct RecordingRate {
  std::string what;  // "L-1, hevc, 3840x2160, 23.976 fps"
  double median = 0;
  double high = 0;  // nine of ten clips need no more
  std::size_t clips = 0;
  bool assumed = false;  // no clip was measured yet
};

// Measured as size by duration, the commonest first. Without a clip to measure: one, assumed, of the 100 Mbit/s that
// UHD in long-GOP 4:2:0 8-bit commonly takes (common practice).
std::vector<RecordingRate> recording_rates(std::span<const Clip> clips);

// What fits into the free bytes but for a reserve of 2 % of the disk, or 1 GB where that is more.
Micros recording_left(std::uint64_t free_bytes, std::uint64_t total_bytes, double bits_per_second);

}  // namespace everytake::pipeline
