// Makers' own boxes in QuickTime and MP4 files, as far as their meaning is known for certain (it agrees with ExifTool's
// published tag tables).
#pragma once

#include <string_view>

#include "media/metadata/source_metadata.h"

namespace everytake::media {

// `content` of a `uuid` box; metadata of nothing where it is another's.
SourceMetadata canon_metadata(std::string_view content);
// `content` of `udta`/`MVTG`.
SourceMetadata fujifilm_metadata(std::string_view content);
// `content` of `udta`/`PANA`.
SourceMetadata panasonic_metadata(std::string_view content);
// `content` of `udta`/`NCDT`/`NCTG`: records of a number, a type of TIFF, a count and the values. Of its two frame
// rates the camera took the one that is not the file's; `file_rate` may be unknown.
SourceMetadata nikon_metadata(std::string_view content, std::optional<Rational> file_rate);
// `content` of `udta`/`GPMF`: named values, some of them holding others.
SourceMetadata gopro_metadata(std::string_view content);
// The first sample of a `djmd` stream: a message that names its schema, which is one of each camera. Of a schema whose
// fields nobody has published nothing is believed. `file_rate` may be unknown.
SourceMetadata dji_metadata(std::string_view sample, std::optional<Rational> file_rate);

}  // namespace everytake::media
