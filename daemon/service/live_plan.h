// The plan as shoot.toml has it now: edited while the daemon runs, it counts from the next card on.
#pragma once

#include "base/log.h"
#include "pipeline/open_shoot.h"

namespace everytake::service {

// Safe to use from several threads.
class LivePlan {
 public:
  LivePlan(pipeline::Shoot shoot, Log& log)
      : folder_(shoot.folder), log_(log), plan_(std::move(shoot.plan)), told_(std::move(shoot.wrong)) {}

  const Path& shoot() const { return folder_; }
  // Reads it again. Errors are told in the log, once: where copies rely on what is wrong, the plan before stays in
  // force; else its destinations count, and clips are placed by the last one that was whole.
  Plan now();

 private:
  const Path folder_;
  Log& log_;
  Mutex mu_;
  Plan plan_ GUARDED_BY(mu_);
  std::vector<std::string> told_ GUARDED_BY(mu_);  // the errors told last
};

}  // namespace everytake::service
