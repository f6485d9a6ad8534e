// The plan a new shoot starts with.
#pragma once

#include <string>
#include <string_view>

namespace everytake::plan {

// A commented shoot.toml with every setting, titled `title`, or "Untitled" where that is empty. A valid plan as it
// stands: what it names need not exist.
std::string plan_template(std::string_view title);

}  // namespace everytake::plan
