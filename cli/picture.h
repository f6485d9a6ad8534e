// A clip's frames for a person to look at.
#pragma once

#include <stop_token>
#include <string>

#include "base/result.h"
#include "cli/shoot.h"
#include "examiner/examiner.h"
#include "model.h"

namespace everytake::cli {

// The clip's strip of frames as a JPEG: the one kept in the shoot's folder, else made from a destination that has all
// of its files. `not_found` without such a destination, `invalid` where no frame can be decoded.
Result<std::string> picture_of(const Clip& clip, const pipeline::Shoot& shoot, const examiner::Examiner& examiner,
                               std::stop_token stop);

}  // namespace everytake::cli
