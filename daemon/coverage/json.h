// Coverage as JSON, for commands and scripts alike.
#pragma once

#include "base/json.h"
#include "coverage/coverage.h"

namespace everytake::coverage {

// Lengths are in seconds. A gap's "kind" is null for looks and for a member's seconds.
Json coverage_json(const Coverage& coverage);

}  // namespace everytake::coverage
