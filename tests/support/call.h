// Calls a command as the program would, with what it wrote.
#pragma once

#include <sstream>
#include <string>
#include <vector>

#include "cli/commands.h"
#include "support/rooms.h"

namespace everytake::test {

struct Called {
  int exit = -1;
  std::string out;
  std::string err;
};

// Runs `everytake <arguments>` in `folder`, its output going to no terminal. Header-only: the library of test support
// is linked without the commands.
inline Called call(std::vector<std::string> arguments, const Path& folder) {
  std::ostringstream out, err;
  cli::Session session{.out = out,
                       .err = err,
                       .out_screen = {},
                       .err_screen = {},
                       .folder = folder,
                       .shoot_from_environment = std::nullopt,
                       .shoot = std::nullopt};
  const auto exit = cli::run(std::move(arguments), session);
  return {static_cast<int>(exit), out.str(), err.str()};
}

}  // namespace everytake::test
