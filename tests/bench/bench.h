// What the bench program can measure. Each takes the words after its name and returns an exit code.
#pragma once

#include <span>
#include <string>

#include "support/rooms.h"

namespace everytake::bench {

int align(std::span<const std::string> words);
int study(std::span<const std::string> words);
int offload(std::span<const std::string> words);
int start(std::span<const std::string> words);

}  // namespace everytake::bench
