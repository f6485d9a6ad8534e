#include "service/live_plan.h"

#include <fmt/format.h>

namespace everytake::service {

namespace {

// The shoot and the destinations of `now`, and everything else of `before`.
Plan with_the_song_of(Plan before, Plan now) {
  now.song = std::move(before.song);
  now.members = std::move(before.members);
  now.sections = std::move(before.sections);
  now.cameras = std::move(before.cameras);
  now.member_seconds = before.member_seconds;
  return now;
}

}  // namespace

Plan LivePlan::now() {
  auto shoot = pipeline::load_shoot_for_copies(folder_);
  const auto wrong = shoot ? shoot->wrong : shoot.error();
  MutexLock lock(mu_);
  if (wrong != told_) {
    told_ = wrong;
    if (!wrong.empty())
      log_.say(shoot ? "the song and its sections as they were before are used, because of this:"
                     : "the plan as it was before is used, because of this:");
    for (const auto& each : wrong) log_.say("  " + each);
  }
  if (shoot)
    plan_ = wrong.empty() ? std::move(shoot->plan) : with_the_song_of(std::move(plan_), std::move(shoot->plan));
  return plan_;
}

}  // namespace everytake::service
