#include "media/sound/audio.h"

#include <algorithm>

#include "media/sound/av_sound.h"

namespace everytake::media {
namespace {

constexpr std::int64_t kLongest = 30 * 60;  // s

// Puts `piece` where it belongs; what was before time zero falls off, what two pieces claim stays the first's.
void paste(std::vector<float>& sound, std::int64_t at, std::span<const float> piece) {
  const auto filled = static_cast<std::int64_t>(sound.size());
  const std::int64_t cut = std::clamp<std::int64_t>(filled - at, 0, static_cast<std::int64_t>(piece.size()));
  piece = piece.subspan(static_cast<std::size_t>(cut));
  if (piece.empty()) return;
  sound.resize(static_cast<std::size_t>(std::max(filled, at)));
  sound.insert(sound.end(), piece.begin(), piece.end());
}

}  // namespace

Result<std::vector<float>> decode_mono(const ReadFs& fs, const Path& path, int rate_hz, std::stop_token stop,
                                       LevelMeter* meter) {
  std::vector<float> sound;
  const auto put = [&](std::int64_t at, std::span<const float> piece) {
    if (at < kLongest * rate_hz) paste(sound, at, piece);
  };
  TRY(decode_sound(fs, path, rate_hz, std::move(stop), put, meter));
  return sound;
}

Result<Micros> sound_length(const ReadFs& fs, const Path& path) {
  return sound_stream_length(fs, path, {});
}

}  // namespace everytake::media
