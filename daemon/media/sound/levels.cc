#include "media/sound/levels.h"

#include <algorithm>
#include <cmath>

namespace everytake::media {
SoundLevels LevelMeter::levels() const {
  if (samples_ == 0) return {0, kSilentDb, 0};
  const double peak = peak_ > 0 ? 20 * std::log10(static_cast<double>(peak_)) : kSilentDb;
  return {samples_, std::clamp(peak, kSilentDb, kLoudestDb),
          static_cast<double>(clipped_) / static_cast<double>(samples_)};
}

SoundLevels joined(const SoundLevels& a, const SoundLevels& b) {
  if (a.samples == 0) return b;
  if (b.samples == 0) return a;
  const auto of_a = static_cast<double>(a.samples), of_b = static_cast<double>(b.samples);
  return {a.samples + b.samples, std::max(a.peak_db, b.peak_db), (a.clipped * of_a + b.clipped * of_b) / (of_a + of_b)};
}

}  // namespace everytake::media
