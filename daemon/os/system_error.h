// errno as a Code: the one table.
#pragma once

#include <string>

#include "base/result.h"

namespace everytake {

Code code_of_errno(int number);

// The error of a system call that just failed: `doing`, then the system's words. Take it before errno changes.
Error system_error(std::string doing, int number);

}  // namespace everytake
