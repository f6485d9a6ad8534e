// Acquisition metadata that runs beside the picture, a sample a frame, in the local sets of SMPTE RDD 18.
#pragma once

#include <string_view>

#include "media/claim.h"

namespace everytake {

// What the first sample of an `rtmd` stream says. A sample is a header whose first two bytes are its length, then sets:
// a 16-byte label, then items of a two-byte tag, a two-byte length and a value. Unknown tags are passed over; whatever
// does not fit ends the reading.
Claim read_timed_metadata(std::string_view sample);

}  // namespace everytake
