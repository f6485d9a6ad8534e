// Makers' own boxes in QuickTime and MP4 files, as far as their meaning is known for certain (it agrees with ExifTool's
// published tag tables).
#pragma once

#include <string_view>

#include "media/claim.h"

namespace everytake {

// `content` of a `uuid` box; a claim of nothing where it is another's.
Claim canon_claim(std::string_view content);
// `content` of `udta`/`MVTG`.
Claim fujifilm_claim(std::string_view content);

}  // namespace everytake
