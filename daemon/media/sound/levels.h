// How loud a recording is, sample by sample.
#pragma once

#include <array>
#include <cstddef>
#include <string>
#include <string_view>

#include "base/result.h"
#include "model.h"

namespace everytake::media {

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

// As bytes, to go from one process to another of the same program. `corrupt` for what no sound can have.
inline constexpr std::size_t kPackedLevels = 24;
std::string pack_levels(const SoundLevels& levels);
Result<SoundLevels> unpack_levels(std::string_view bytes);

}  // namespace everytake::media
