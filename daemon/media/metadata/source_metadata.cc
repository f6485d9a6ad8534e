#include "media/metadata/source_metadata.h"

#include <charconv>

namespace everytake::media {

std::optional<int> positive(std::int64_t number) {
  constexpr std::int64_t kMost = 1'000'000'000;
  return number > 0 && number <= kMost ? std::optional(static_cast<int>(number)) : std::nullopt;
}

std::optional<int> positive(std::string_view digits) {
  std::int64_t number = 0;
  std::from_chars(digits.data(), digits.data() + digits.size(), number);
  return positive(number);
}

void apply(ClipFacts& facts, const SourceMetadata& metadata) {
  const auto fill = [&](const char* field, auto& into, const auto& value) {
    if (into || !value) return;
    into = value;
    facts.origin[field] = metadata.origin;
  };
  fill("gamma", facts.gamma, metadata.gamma);
  fill("gamut", facts.gamut, metadata.gamut);
  fill("camera", facts.camera, metadata.camera);
  fill("lens", facts.lens, metadata.lens);
  fill("iso", facts.iso, metadata.iso);
  fill("shutter", facts.shutter, metadata.shutter);
  fill("white_balance", facts.white_balance, metadata.white_balance);
  fill("capture_rate", facts.capture_rate, metadata.capture_rate);
  fill("recorded_at", facts.recorded_at, metadata.recorded_at);
}

}  // namespace everytake::media
