#include "pipeline/room.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>

#include "base/text.h"

namespace everytake::pipeline {
namespace {

constexpr double kAssumed = 100e6;
constexpr double kReserveShare = 0.02;
constexpr std::uint64_t kReserveBytes = 1'000'000'000;

std::string kind_of(const ClipFacts& facts) {
  std::string text = facts.camera.value_or("a camera");
  if (facts.codec) text += ", " + *facts.codec;
  if (facts.width && facts.height) text += fmt::format(", {}x{}", *facts.width, *facts.height);
  if (facts.frame_rate) text += ", " + rate_text(*facts.frame_rate) + " fps";
  return text;
}

// The value that `share` of them do not pass (nearest rank).
double at_share(const std::vector<double>& sorted, double share) {
  const auto rank = static_cast<std::size_t>(std::max(1.0, std::ceil(share * static_cast<double>(sorted.size()))));
  return sorted[rank - 1];
}

}  // namespace

std::vector<RecordingRate> recording_rates(std::span<const Clip> clips) {
  std::map<std::string, std::vector<double>> measured;
  for (const auto& clip : clips) {
    if (!clip.facts.duration || *clip.facts.duration <= Micros::zero() || clip.size == 0) continue;
    measured[kind_of(clip.facts)].push_back(static_cast<double>(clip.size) * 8 / seconds(*clip.facts.duration));
  }
  std::vector<RecordingRate> rates;
  for (auto& [what, values] : measured) {
    std::sort(values.begin(), values.end());
    rates.push_back({what, at_share(values, 0.5), at_share(values, 0.9), values.size(), false});
  }
  std::stable_sort(rates.begin(), rates.end(), [](const auto& a, const auto& b) { return a.clips > b.clips; });
  if (rates.empty()) rates.push_back({"UHD, long-GOP, 8-bit", kAssumed, kAssumed, 0, true});
  return rates;
}

Micros recording_left(std::uint64_t free_bytes, std::uint64_t total_bytes, double bits_per_second) {
  const auto share = static_cast<std::uint64_t>(static_cast<double>(total_bytes) * kReserveShare);
  const auto reserve = std::max(share, kReserveBytes);
  if (free_bytes <= reserve || bits_per_second <= 0) return Micros::zero();
  return from_seconds(static_cast<double>(free_bytes - reserve) * 8 / bits_per_second);
}

}  // namespace everytake::pipeline
