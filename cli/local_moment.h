// Moments as people write them.
#pragma once

#include <optional>
#include <string>

#include "base/clock.h"

namespace everytake::cli {

// "14:10", "14:10:30" on the day of `now` and not after it, or "2026-11-28 14:10": in the zone that is set here.
// nullopt for anything else: after midnight "23:50" could be meant for either night.
std::optional<Instant> parse_local_moment(const std::string& text, Instant now);
inline constexpr const char* kMomentChoice =
    "write a time of today that has been, as in 14:10, or the day too, as in \"2026-11-28 14:10\"";

}  // namespace everytake::cli
