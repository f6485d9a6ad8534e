#include "media/claim.h"

namespace everytake {

void apply(ClipFacts& facts, const Claim& claim) {
  const auto fill = [&](const char* field, auto& into, const auto& value) {
    if (into || !value) return;
    into = value;
    facts.origin[field] = claim.origin;
  };
  fill("gamma", facts.gamma, claim.gamma);
  fill("gamut", facts.gamut, claim.gamut);
  fill("camera", facts.camera, claim.camera);
  fill("lens", facts.lens, claim.lens);
  fill("capture_rate", facts.capture_rate, claim.capture_rate);
  fill("recorded_at", facts.recorded_at, claim.recorded_at);
}

}  // namespace everytake
