// Coverage as JSON, for commands and scripts alike.
#pragma once

#include "base/json.h"
#include "coverage/runs.h"

namespace everytake::coverage {

// Lengths are in seconds. The "kind" of a gap and of what a run fills is null for looks and for a member's seconds.
Json coverage_json(const Coverage& coverage, const std::vector<Run>& runs);

}  // namespace everytake::coverage
