// What one source says of a clip: a box, a stream of metadata, the plan.
#pragma once

#include <optional>
#include <string>

#include "model.h"

namespace everytake {

struct Claim {
  std::string origin;  // "timed metadata"; stands beside each value taken from it
  std::optional<std::string> gamma{}, gamut{}, camera{}, lens{};  // gamma and gamut in lower case
  std::optional<Rational> capture_rate{};
  std::optional<Instant> recorded_at{};
};

// Fills in what is not known yet; sources are asked in order of trust.
void apply(ClipFacts& facts, const Claim& claim);

}  // namespace everytake
