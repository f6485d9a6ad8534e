// Runs the real programs, as a person's shell would.
#pragma once

#include <string>

#include "os/fs.h"
#include "support/rooms.h"

namespace everytake::test {

struct Ran {
  int exit = -1;  // 128 + signal where a signal ended it
  std::string out, err;
};

// `command` by /bin/sh.
Ran shell(const std::string& command);

// From the first call on this process and those it starts have mounts of their own, which go with them: they see what
// is mounted now, but neither do they see what others mount later, nor others what they mount. False without the right
// to.
bool own_mounts();

// A word for the shell, whatever is in it.
std::string quoted(const std::string& word);
inline std::string quoted(const Path& path) {
  return quoted(path.string());
}

}  // namespace everytake::test
