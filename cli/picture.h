// A clip's frames for a person to look at.
#pragma once

#include <stop_token>
#include <string>

#include "base/result.h"
#include "media/av_picture.h"
#include "model.h"

namespace everytake::cli {

// The strip of frames of the clip's first file as a JPEG, from a verified copy in reach. `not_found` without such a
// copy, `corrupt` where no frame can be decoded.
Result<std::string> picture_of(const Clip& clip, std::stop_token stop);

// `exists` where `file` (absolute) is there: what a person has is never replaced.
Result<void> check_new(const Path& file);
// Makes `file` of `bytes`, durable. Leaves nothing where that fails.
Result<void> write_new(const Path& file, const std::string& bytes);

}  // namespace everytake::cli
