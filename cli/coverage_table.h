// Coverage for a person on set: at a glance, in 80 columns.
#pragma once

#include <string>

#include "cli/terminal.h"
#include "coverage/runs.h"

namespace everytake::cli {

// A line a section, a line a member, then what to shoot next, then what is counted though its picture is in doubt. What
// is short of the plan, and what is in doubt, is marked with a sign, and with colour where the screen has it.
//
// Of the runs five are told, and all of them with `all`, and then each gap too.
std::string coverage_table(const coverage::Coverage& coverage, const std::vector<coverage::Run>& runs, bool all,
                           const Screen& screen);

}  // namespace everytake::cli
