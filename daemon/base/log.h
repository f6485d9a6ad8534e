// What the daemon says, for a person: a line each, with the local time.
#pragma once

#include <ostream>
#include <string_view>

#include "base/clock.h"
#include "base/sync.h"

namespace everytake {

// Safe to use from several threads: lines come whole.
class Log {
 public:
  Log(std::ostream& out, const Clock& clock) : clock_(clock), out_(out) {}

  // "2026-11-25 14:32:05  what". Names in it went through shown().
  void say(std::string_view what);

 private:
  const Clock& clock_;
  Mutex mu_;
  std::ostream& out_ GUARDED_BY(mu_);
};

}  // namespace everytake
