// How loud a recording is, sample by sample.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

#include "model.h"

namespace everytake::media {

inline constexpr double kSilentDb = -200;  // less than any recording can hold: no sound at all
inline constexpr double kLoudestDb = 100;  // floating-point sound may go over full scale

// Gathers over all channels of all that is added.
class LevelMeter {
 public:
  // The next sample of a channel; ±1 is full scale. Channels past the 64th are not looked at.
  void add(std::size_t channel, float sample) {
    if (channel >= runs_.size()) return;
    const float size = sample < 0 ? -sample : sample;
    ++samples_;
    if (size > peak_) peak_ = size;  // not for NaN
    int& run = runs_[channel];
    run = size >= kFullScale ? run + 1 : 0;
    if (run == kClip) clipped_ += kClip;
    if (run > kClip) ++clipped_;
  }

  SoundLevels levels() const;

 private:
  static constexpr int kClip = 3;  // in a row, as meters commonly count an "over"
  // The highest code of 16 bits is 0.99997. Coding with loss moves a flat top by a little.
  static constexpr float kFullScale = 0.99F;

  std::int64_t samples_ = 0, clipped_ = 0;
  float peak_ = 0;
  std::array<int, 64> runs_{};
};

// Of one recording after the other.
SoundLevels joined(const SoundLevels& a, const SoundLevels& b);

}  // namespace everytake::media
