// A clip's strip of frames as one JPEG.
#pragma once

#include <span>
#include <stop_token>

#include "media/picture/strip.h"
#include "model.h"
#include "os/fs.h"

namespace everytake::media {

// Five frames of a recording side by side: of its start, quarter, middle, three quarters and end, each at most 480
// pixels wide and high, turned upright and shown by DisplayTransform with the gamma and gamut of `facts`. `videos` are
// the recording's files in order, and its length is that of all. A frame may lie an eighth of the length off, or half
// a second, where that saves decoding. Black frames are left out, unless all are black. An Error only when the disk
// fails or `stop` asks. A pure function of the files: it uses one thread and may run in any.
Result<Strip> picture_strip(const ReadFs& fs, std::span<const Path> videos, const ClipFacts& facts,
                            std::stop_token stop);

}  // namespace everytake::media
