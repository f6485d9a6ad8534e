#include "media/picture/strip.h"

#include <cstdint>
#include <cstring>

namespace everytake::media {
namespace {

constexpr std::size_t kCounts = 2 * sizeof(std::int32_t);
constexpr int kMostFrames = 5;

// ISO/IEC 10918-1: from the marker SOI to the marker EOI.
bool is_jpeg(std::string_view bytes) {
  return bytes.size() > 4 && bytes.starts_with("\xFF\xD8") && bytes.ends_with("\xFF\xD9");
}

}  // namespace

std::string pack_strip(const Strip& strip) {
  const std::int32_t counts[] = {strip.seen.frames, strip.seen.black};
  return std::string(reinterpret_cast<const char*>(counts), kCounts) + strip.jpeg;
}

Result<Strip> unpack_strip(std::string_view bytes) {
  std::int32_t counts[2] = {-1, -1};
  if (bytes.size() >= kCounts && bytes.size() <= kMostStrip) std::memcpy(counts, bytes.data(), kCounts);
  const auto [frames, black] = counts;
  const auto jpeg = bytes.substr(std::min(bytes.size(), kCounts));
  const bool fits = black >= 0 && black <= frames && frames <= kMostFrames && jpeg.empty() == (frames == 0);
  if (fits && (jpeg.empty() || is_jpeg(jpeg))) return Strip{std::string(jpeg), {frames, black}};
  return fail(Code::corrupt, "gives a picture that is none");
}

}  // namespace everytake::media
