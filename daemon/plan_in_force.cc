#include "plan_in_force.h"

#include <fmt/format.h>

namespace everytake {

Plan PlanInForce::now() {
  auto shoot = load_shoot(folder_);
  if (!shoot) {
    log_.say("the plan as it was before is used, because of this:");
    for (const auto& wrong : shoot.error()) log_.say("  " + wrong);
  }
  MutexLock lock(mu_);
  if (shoot) plan_ = std::move(shoot->plan);
  return plan_;
}

}  // namespace everytake
