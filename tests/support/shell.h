// Runs the real programs, as a person's shell would.
#pragma once

#include <string>

#include "base/fs.h"

namespace everytake::test {

struct Ran {
  int exit = -1;  // 128 + signal where a signal ended it
  std::string out, err;
};

// `command` by /bin/sh.
Ran shell(const std::string& command);

// A word for the shell, whatever is in it.
std::string quoted(const std::string& word);
inline std::string quoted(const Path& path) {
  return quoted(path.string());
}

}  // namespace everytake::test
