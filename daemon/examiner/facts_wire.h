// ClipFacts as bytes, to go from one process to another of the same program. No format to keep.
#pragma once

#include <string>
#include <string_view>

#include "model.h"

namespace everytake::examiner {

std::string pack_facts(const ClipFacts& facts);

// `corrupt` for bytes that are no such facts, or hold what no recording can have: the other process may have been taken
// over by what it read.
Result<ClipFacts> unpack_facts(std::string_view bytes);

}  // namespace everytake::examiner
