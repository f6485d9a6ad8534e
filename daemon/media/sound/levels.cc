#include "media/sound/levels.h"

#include <algorithm>
#include <cmath>
#include <cstring>

namespace everytake::media {
namespace {

constexpr double kNothing = -200;  // dB: less than any recording can hold
constexpr double kMost = 100;      // dB: floating-point sound may go over full scale

}  // namespace

SoundLevels LevelMeter::levels() const {
  if (samples_ == 0) return {0, kNothing, 0};
  const double peak = peak_ > 0 ? 20 * std::log10(static_cast<double>(peak_)) : kNothing;
  return {samples_, std::clamp(peak, kNothing, kMost), static_cast<double>(clipped_) / static_cast<double>(samples_)};
}

SoundLevels joined(const SoundLevels& a, const SoundLevels& b) {
  if (a.samples == 0) return b;
  if (b.samples == 0) return a;
  const auto of_a = static_cast<double>(a.samples), of_b = static_cast<double>(b.samples);
  return {a.samples + b.samples, std::max(a.peak_db, b.peak_db), (a.clipped * of_a + b.clipped * of_b) / (of_a + of_b)};
}

std::string pack_levels(const SoundLevels& levels) {
  std::string bytes(kPackedLevels, '\0');
  std::memcpy(bytes.data(), &levels.samples, 8);
  std::memcpy(bytes.data() + 8, &levels.peak_db, 8);
  std::memcpy(bytes.data() + 16, &levels.clipped, 8);
  return bytes;
}

Result<SoundLevels> unpack_levels(std::string_view bytes) {
  SoundLevels levels;
  if (bytes.size() == kPackedLevels) {
    std::memcpy(&levels.samples, bytes.data(), 8);
    std::memcpy(&levels.peak_db, bytes.data() + 8, 8);
    std::memcpy(&levels.clipped, bytes.data() + 16, 8);
    constexpr std::int64_t kMostSamples = std::int64_t{1} << 50;
    const bool in_range = levels.peak_db >= kNothing && levels.peak_db <= kMost && levels.clipped >= 0 &&
                          levels.clipped <= 1;  // false for NaN
    if (levels.samples >= 0 && levels.samples < kMostSamples && in_range) return levels;
  }
  return fail(Code::corrupt, "says of its sound what can't be");
}

}  // namespace everytake::media
