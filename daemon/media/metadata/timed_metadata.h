// Acquisition metadata that runs beside the picture, a sample a frame: the local sets of SMPTE RDD 18.
#pragma once

#include <string_view>

#include "media/metadata/source_metadata.h"

namespace everytake::media {

// Whether this key is that of a set: of a lens, a camera or a user.
bool is_acquisition_set(std::string_view key);

// What a frame's sets say. A set is a 16-byte label, a length (ST 336), then items of a two-byte tag, a two-byte length
// and a value. Unknown tags and other sets are passed over; whatever does not fit ends the reading.
SourceMetadata read_acquisition_sets(std::string_view sets);

// The same of the first sample of an `rtmd` stream: a header whose first two bytes are its length, then sets.
SourceMetadata read_timed_metadata(std::string_view sample);

}  // namespace everytake::media
