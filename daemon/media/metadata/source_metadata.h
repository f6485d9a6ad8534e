// What one source says of a clip: a box, a stream of metadata, the plan.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "model.h"

namespace everytake::media {

struct SourceMetadata {
  std::string origin;  // "timed metadata"; stands beside each value taken from it
  std::optional<std::string> gamma{}, gamut{}, camera{}, lens{};  // gamma and gamut in lower case
  std::optional<Rational> capture_rate{};
  std::optional<int> iso{}, white_balance{};  // exposure index, K
  std::optional<Rational> shutter{};          // s
  std::optional<Instant> recorded_at{};
};

// What 16 bits hold of an exposure index past them (Exif 2.32, 0x8827).
inline constexpr int kIsoOrMore = 65535;

// Whole numbers as metadata holds them, 1 to 10^9; nullopt for any other.
std::optional<int> positive(std::int64_t number);
std::optional<int> positive(std::string_view digits);  // a unit may follow them: "5600K"

// Fills in what is not known yet; sources are asked in order of trust.
void apply(ClipFacts& facts, const SourceMetadata& metadata);

}  // namespace everytake::media
