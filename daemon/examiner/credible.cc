#include "examiner/credible.h"

#include <concepts>
#include <cstdint>

#include "media/sound/levels.h"

namespace everytake::examiner {
namespace {

constexpr std::size_t kMostRows = 256;  // problems, or origins
constexpr std::int64_t kMostNumber = 1'000'000'000'000;
constexpr Micros kLongest = std::chrono::days(100 * 366);
constexpr Instant kEarliest(-10 * kLongest), kLatest(10 * kLongest);
constexpr std::int64_t kMostSamples = std::int64_t{1} << 50;
constexpr int kMostFrames = 5;

// A fact of any other type can be whatever its type can.
template <class T>
bool can_be(const T&) {
  return true;
}
bool can_be(bool) {
  return true;
}
template <std::integral T>
bool can_be(const T& number) {
  return number >= 0 && number <= kMostNumber;
}
bool can_be(Micros time) {
  return time >= -kLongest && time <= kLongest;
}
bool can_be(Instant moment) {
  return moment >= kEarliest && moment <= kLatest;
}
bool can_be(const SoundLevels& levels) {
  return is_credible(levels);
}
bool can_be(const FramesSeen& seen) {
  return is_credible(seen);
}
template <class T>
bool can_be(const std::optional<T>& fact) {
  return !fact || can_be(*fact);
}
bool can_be(const std::vector<Problem>& problems) {
  return problems.size() <= kMostRows;
}
bool can_be(const std::map<std::string, std::string>& origin) {
  return origin.size() <= kMostRows;
}

// ISO/IEC 10918-1: from the marker SOI to the marker EOI.
bool is_jpeg(std::string_view bytes) {
  return bytes.size() > 4 && bytes.starts_with("\xFF\xD8") && bytes.ends_with("\xFF\xD9");
}

}  // namespace

bool is_credible(const ClipFacts& facts) {
  bool all = true;
  for_each_field(facts, [&](const auto&, const auto& fact) { all = all && can_be(fact); });
  return all;
}

bool is_credible(const SoundLevels& levels) {
  const bool in_range = levels.peak_db >= media::kSilentDb && levels.peak_db <= media::kLoudestDb &&
                        levels.clipped >= 0 && levels.clipped <= 1;  // false for NaN
  return levels.samples >= 0 && levels.samples < kMostSamples && in_range;
}

bool is_credible(const FramesSeen& seen) {
  return seen.black >= 0 && seen.black <= seen.frames && seen.frames <= kMostFrames;
}

bool is_credible(const media::Strip& strip) {
  if (!is_credible(strip.seen) || strip.jpeg.size() > kMostStrip) return false;
  return strip.seen.frames == 0 ? strip.jpeg.empty() : is_jpeg(strip.jpeg);
}

bool is_credible(Micros length) {
  return length > Micros{};
}

}  // namespace everytake::examiner
