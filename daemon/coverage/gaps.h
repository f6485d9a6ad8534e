// What is missing, the most urgent first.
#pragma once

#include "coverage/coverage.h"

namespace everytake::coverage {

// In this order: sections no take covers; with too few takes; with too little b-roll; members short of seconds; too
// little slow-mo; too few looks. Among its like, what misses the greater share of what is wanted comes first, then what
// comes first in the song or in the plan.
std::vector<Gap> find_gaps(std::span<const SectionCoverage> sections, std::span<const MemberCoverage> members);

}  // namespace everytake::coverage
