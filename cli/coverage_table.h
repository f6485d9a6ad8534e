// Coverage for a person on set: at a glance, in 80 columns.
#pragma once

#include <string>

#include "cli/terminal.h"
#include "coverage/coverage.h"

namespace everytake::cli {

// A line a section, a line a member, then what to shoot next, then what is counted though its picture is in doubt. What
// is short of the plan, and what is in doubt, is marked with a sign, and with colour where the screen has it.
std::string coverage_table(const coverage::Coverage& coverage, const Screen& screen);

}  // namespace everytake::cli
