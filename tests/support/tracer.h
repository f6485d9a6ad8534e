// Runs a program and makes a chosen system call of it go wrong: a small driver over ptrace(2), with a seccomp filter so
// that only the calls that matter stop it.
#pragma once

#include <optional>
#include <set>
#include <string>
#include <vector>
#include "support/rooms.h"

namespace everytake::test {

struct CallFault {
  enum class What {
    nothing,
    kill,     // SIGKILL; each call is two points: as it begins (odd), and when it has ended (even)
    fail,     // the call is not made and fails with `error`; each call is one point, as for shorten
    shorten,  // a read or write of half the bytes
  };
  What what = What::nothing;
  int at = 0;  // the how-manieth point, from 1; 0 is none
  int error = 0;
};

struct Traced {
  int points = 0;    // that were passed, as `what` counts them
  bool met = false;  // the fault came to pass
  std::optional<int>
      exit;  // its exit code; 128 + signal where another signal than ours ended it; nullopt: killed by us
};

// Calls after which the disk holds something else for good, and those that open and close.
std::set<int> durable_calls();
// Those that touch files at all, in both directions.
std::set<int> file_calls();
// Those that move bytes: what `shorten` is for.
std::set<int> moving_calls();

// nullopt where a program can't be traced here.
std::optional<Traced> run_traced(std::vector<std::string> arguments, const std::set<int>& calls,
                                 const CallFault& fault);

}  // namespace everytake::test
