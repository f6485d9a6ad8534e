// Ctrl-C, SIGTERM, and a terminal that was closed (SIGHUP): work stops within a second and goes on next time.
#pragma once

#include <atomic>
#include <optional>
#include <stop_token>
#include <thread>

#include "pipeline/exit_codes.h"

namespace everytake::cli {

// Make it before any other thread: they inherit that the signals are not theirs. A second Ctrl-C or SIGTERM ends the
// program at once.
class StopOnSignal {
 public:
  StopOnSignal();
  ~StopOnSignal();
  std::stop_token token() const { return stop_.get_token(); }
  // What the shell is told, where a signal came.
  std::optional<pipeline::Exit> exit() const;

 private:
  void wait();

  std::stop_source stop_;
  std::atomic<int> signal_{0};
  std::atomic<bool> leaving_{false};
  std::jthread waiter_;
};

}  // namespace everytake::cli
