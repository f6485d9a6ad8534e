#include "support/shell.h"

#include <sched.h>
#include <sys/mount.h>
#include <sys/wait.h>

#include <cstdlib>

#include "support/rooms.h"
#include "support/temp_dir.h"

namespace everytake::test {

Ran shell(const std::string& command) {
  const TempDir dir;
  const auto out = dir / "out", err = dir / "err";
  const int status =
      std::system(("{ " + command + "\n} >" + quoted(out) + " 2>" + quoted(err) + " </dev/null").c_str());
  const int exit = WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
  return {exit, get_file(out), get_file(err)};
}

bool own_mounts() {
  static const bool own =
      ::unshare(CLONE_NEWNS) == 0 && ::mount("none", "/", nullptr, MS_REC | MS_PRIVATE, nullptr) == 0;
  return own;
}

std::string quoted(const std::string& word) {
  std::string text = "'";
  for (const char c : word) text += c == '\'' ? std::string("'\\''") : std::string(1, c);
  return text + "'";
}

}  // namespace everytake::test
