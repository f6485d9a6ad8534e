#include "media/timed_metadata.h"

#include <algorithm>

#include "media/boxes.h"

namespace everytake {
namespace {

constexpr std::size_t kLabel = 16;                              // a SMPTE universal label
constexpr std::string_view kLabelStart("\x06\x0E\x2B\x34", 4);  // ST 298
constexpr std::uint64_t kContainer = 0x8300, kGamma = 0x3210, kPrimaries = 0x3219, kCaptureRate = 0x8106;

struct Named {
  std::uint64_t label;  // its last four bytes
  const char* gamma;
  const char* gamut;  // nullptr where the gamma does not tell
};
constexpr Named kGammas[] = {
    {0x01010501, "s-log", nullptr},        {0x01010508, "s-log2", nullptr},
    {0x01010604, "s-log3", "s-gamut3"},    {0x01010605, "s-log3-cine", "s-gamut3-cine"},
    {0x01010606, "rec2020", nullptr},      {0x01010607, "pq", nullptr},
    {0x01010608, "hlg", nullptr},          {0x01010705, "s-cinetone", nullptr},
    {0x010B0000, "rec2100-hlg", nullptr},  {0x01020000, "rec709", nullptr},
    {0x01080000, "rec709-xvycc", nullptr},
};
constexpr Named kPrimarySets[] = {
    {0x01030103, nullptr, "s-gamut"}, {0x01030104, nullptr, "s-gamut3"}, {0x01030105, nullptr, "s-gamut3-cine"}};

template <std::size_t N>
const Named* named(const Named (&table)[N], std::string_view label) {
  if (label.size() != kLabel) return nullptr;
  const auto end = big_endian(label, kLabel - 4, 4);
  const auto* found = std::find_if(table, table + N, [end](const Named& each) { return each.label == end; });
  return found == table + N ? nullptr : found;
}

void read_item(std::uint64_t tag, std::string_view value, Claim& claim) {
  if (tag == kGamma) {
    if (const auto* gamma = named(kGammas, value)) {
      claim.gamma = gamma->gamma;
      if (gamma->gamut && !claim.gamut) claim.gamut = gamma->gamut;
    }
  } else if (tag == kPrimaries) {
    if (const auto* primaries = named(kPrimarySets, value)) claim.gamut = primaries->gamut;
  } else if (tag == kCaptureRate && value.size() == 8) {
    const auto num = static_cast<std::int64_t>(big_endian(value, 0, 4));
    const auto den = static_cast<std::int64_t>(big_endian(value, 4, 4));
    if (num > 0 && den > 0) claim.capture_rate = Rational(num, den);
  }
}

}  // namespace

Claim read_timed_metadata(std::string_view sample) {
  Claim claim{.origin = "timed metadata"};
  std::size_t at = std::max<std::size_t>(2, big_endian(sample, 0, 2));
  while (at < sample.size() && sample.size() - at >= 4) {
    if (sample.substr(at, kLabelStart.size()) == kLabelStart) {
      at += kLabel;
      if (big_endian(sample, at, 2) == kContainer) at += 4;  // its items follow it
      continue;
    }
    const auto tag = big_endian(sample, at, 2), length = big_endian(sample, at + 2, 2);
    if (tag == 0 || length > sample.size() - at - 4) break;
    if (tag != kContainer) read_item(tag, sample.substr(at + 4, length), claim);
    at += 4 + (tag == kContainer ? 0 : length);
  }
  return claim;
}

}  // namespace everytake
