#include "media/metadata/timed_metadata.h"

#include <algorithm>
#include <optional>
#include <span>
#include <utility>

#include "media/container/boxes.h"
#include "media/container/klv.h"

namespace everytake::media {
namespace {

// Local tags of RDD 18, and two of a maker's own.
enum Tag : std::uint64_t {
  kGamma = 0x3210,
  kPrimaries = 0x3219,
  kCaptureRate = 0x8106,
  kShutterAngle = 0x8108,  // minutes of arc
  kShutterTime = 0x8109,   // s
  kIso = 0x810B,
  kWhiteBalance = 0x810E,  // K
  kLogLabel = 0xE211,
  kLogPrimaries = 0xE212,
};

struct Named {
  std::uint64_t label;  // its last bytes
  const char* gamma;
  const char* gamut;  // nullptr where the gamma does not tell
};
// By their last four bytes.
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

// By their last eight bytes.
constexpr Named kLogs[] = {
    {0x0E15000101000000, "c-log", nullptr},  {0x0E15000102000000, "c-log2", nullptr},
    {0x0E15000107000000, "c-log3", nullptr}, {0x04010101010A0000, "pq", nullptr},
    {0x04010101010B0000, "hlg", nullptr},
};
constexpr Named kLogPrimarySets[] = {{0x0E15000202000000, nullptr, "cinema-gamut"}};

// The row that the label's last `bytes` name.
const Named* named(std::span<const Named> table, std::string_view label, std::size_t bytes) {
  if (label.size() != kKlvKey) return nullptr;
  const auto end = big_endian(label, kKlvKey - bytes, bytes);
  const auto found = std::find_if(table.begin(), table.end(), [end](const Named& each) { return each.label == end; });
  return found == table.end() ? nullptr : &*found;
}

void take_names(const Named* row, SourceMetadata& metadata) {
  if (!row) return;
  if (row->gamma) metadata.gamma = row->gamma;
  if (row->gamut && (!row->gamma || !metadata.gamut))
    metadata.gamut = row->gamut;  // primaries go before what a curve implies
}

std::optional<int> whole(std::string_view value, std::size_t bytes) {
  if (value.size() != bytes) return std::nullopt;
  return positive(static_cast<std::int64_t>(big_endian(value, 0, bytes)));
}

struct Reading {
  SourceMetadata metadata;
  std::optional<int> shutter_angle;  // minutes of arc
};

void read_item(std::uint64_t tag, std::string_view value, Reading& to) {
  switch (tag) {
    case kGamma:
      return take_names(named(kGammas, value, 4), to.metadata);
    case kPrimaries:
      return take_names(named(kPrimarySets, value, 4), to.metadata);
    case kLogLabel:
      return take_names(named(kLogs, value, 8), to.metadata);
    case kLogPrimaries:
      return take_names(named(kLogPrimarySets, value, 8), to.metadata);
    case kCaptureRate:
      to.metadata.capture_rate = big_endian_fraction(value);
      return;
    case kShutterTime:
      to.metadata.shutter = big_endian_fraction(value);
      return;
    case kShutterAngle:
      to.shutter_angle = whole(value, 4);
      return;
    case kIso:
      if (const auto iso = whole(value, 2); iso != kIsoOrMore) to.metadata.iso = iso;
      return;
    case kWhiteBalance:
      to.metadata.white_balance = whole(value, 2);
      return;
    default:
      return;
  }
}

// Where only the angle is said: that part of a whole turn, and of a frame's time.
SourceMetadata finished(Reading reading) {
  constexpr int kTurn = 360 * 60;
  auto& metadata = reading.metadata;
  if (!metadata.shutter && metadata.capture_rate && reading.shutter_angle && *reading.shutter_angle <= kTurn) {
    const auto time = Rational(*reading.shutter_angle, kTurn) / *metadata.capture_rate;
    metadata.shutter = positive_fraction(time.num(), time.den());
  }
  return std::move(metadata);
}

}  // namespace

bool is_acquisition_set(std::string_view key) {
  constexpr std::string_view kStart("\x06\x0E\x2B\x34\x02\x53\x01", 7), kKind("\x0C\x02\x01\x01", 4);
  return key.starts_with(kStart) && key.substr(kStart.size()).substr(1).starts_with(kKind);  // of any version
}

SourceMetadata read_acquisition_sets(std::string_view sets) {
  Reading reading{.metadata = {.origin = "timed metadata"}, .shutter_angle = {}};
  for (std::size_t at = 0; at < sets.size() && sets.size() - at >= 4;) {
    const auto rest = sets.substr(at);
    if (const auto value = klv_value(rest)) {
      at += std::min<std::uint64_t>(is_acquisition_set(rest) ? value->begin : value->end, rest.size());
      continue;
    }
    const auto tag = big_endian(sets, at, 2), length = big_endian(sets, at + 2, 2);
    at += 4;
    if (tag == 0 || length > sets.size() - at) break;
    read_item(tag, sets.substr(at, length), reading);
    at += length;
  }
  return finished(std::move(reading));
}

SourceMetadata read_timed_metadata(std::string_view sample) {
  const auto header = std::max<std::uint64_t>(2, big_endian(sample, 0, 2));
  return read_acquisition_sets(sample.substr(std::min<std::uint64_t>(header, sample.size())));
}

}  // namespace everytake::media
