// Clips that are counted though their picture may be of no use.
#pragma once

#include "coverage/coverage.h"

namespace everytake::coverage {

// The codes of the clip's problems that are about its picture: that is missing, black, cut short or can't be decoded.
std::vector<ProblemCode> picture_problems(const Clip& clip);

// "R001/C0003: performance in Verse 1, of Ada; its end is missing".
std::string text_of(const ClipInDoubt& doubtful);

}  // namespace everytake::coverage
