// What no other program will hit upon.
#pragma once

#include <string>
#include <string_view>

namespace everytake {

// 128 bits from the kernel's generator (getrandom(2)), as 32 lower-case hex digits.
std::string random_id();

// Whether a text is one.
bool is_id(std::string_view text);

}  // namespace everytake
