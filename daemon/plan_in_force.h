// The plan as shoot.toml has it now: edited while the daemon runs, it counts from the next card on.
#pragma once

#include "base/log.h"
#include "open_shoot.h"

namespace everytake {

// Safe to use from several threads.
class PlanInForce {
 public:
  PlanInForce(Shoot shoot, Log& log) : folder_(shoot.folder), log_(log), plan_(std::move(shoot.plan)) {}

  const Path& shoot() const { return folder_; }
  // Reads it again. One with errors is told in the log, and the last good one stays in force.
  Plan now();

 private:
  const Path folder_;
  Log& log_;
  Mutex mu_;
  Plan plan_ GUARDED_BY(mu_);
};

}  // namespace everytake
