// A clip's strip of frames as one JPEG.
#pragma once

#include <optional>
#include <stop_token>
#include <string>

#include "base/fs.h"
#include "model.h"

namespace everytake {

// Five frames of a recording side by side: its start, quarter, middle, three quarters and end, each at most 480 pixels
// wide and high, turned upright and shown by DisplayTransform with the gamma and gamut of `facts`. Black frames are
// left out, unless all are black. nullopt where no frame can be decoded. An Error only when the disk fails or `stop`
// asks.
Result<std::optional<std::string>> picture_strip(const ReadFs& fs, const Path& video, const ClipFacts& facts,
                                                 std::stop_token stop);

}  // namespace everytake
