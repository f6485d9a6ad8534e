#include "service/background_study.h"

#include <fmt/format.h>

#include "base/text.h"
#include "os/background_priority.h"
#include "os/posix_fs.h"
#include "pipeline/pipeline.h"

namespace everytake::service {

void BackgroundStudy::wake() {
  MutexLock lock(mu_);
  wanted_ = true;
  changed_.notify_all();
}

void BackgroundStudy::close() {
  MutexLock lock(mu_);
  closed_ = true;
  changed_.notify_all();
}

void BackgroundStudy::wait_until_idle() {
  MutexLock lock(mu_);
  while (!closed_ && (wanted_ || working_)) changed_.wait(mu_);
}

void BackgroundStudy::run(std::stop_token stop) {
  enter_background_priority();
  for (;;) {
    {
      MutexLock lock(mu_);
      working_ = false;
      changed_.notify_all();
      while (!closed_ && !wanted_) changed_.wait(mu_);
      if (closed_) return;
      wanted_ = false;
      working_ = true;
    }
    study(stop);
    catch_up(stop);
  }
}

// A destination that was away gets what it missed from the others; the cards may be long gone.
void BackgroundStudy::catch_up(std::stop_token stop) {
  const auto may_catch_up = context_.card_priority.begin_catching_up();
  if (!may_catch_up) return;  // woken again when the card is done
  std::stop_source both;
  const std::stop_callback end(stop, [&] { both.request_stop(); });
  const std::stop_callback card_came(*may_catch_up, [&] { both.request_stop(); });
  const Plan plan = context_.plan.now();
  auto destinations = pipeline::open_destinations(plan.destinations);
  const bool fit = pipeline::check_disks(destinations) &&
                   pipeline::check_shoot_folder(plan.destinations, context_.plan.shoot(), plan.slug());
  if (fit)  // else it is said when a card comes
    tell(pipeline::Pipeline(context_.catalogue, plan, context_.clock).repair(destinations, {}, {}, both.get_token()));
  context_.card_priority.end_catching_up();
}

void BackgroundStudy::tell(const Result<pipeline::RepairReport>& report) const {
  if (!report) {
    if (report.error().code != Code::busy) context_.log.say("catching up: " + report.error().what);
    return;
  }
  for (const auto& [name, files] : report->repaired)
    context_.log.say(
        fmt::format("\"{}\" caught up: {} from another destination, read back", shown(name), counted(files, "file")));
}

void BackgroundStudy::study(std::stop_token stop) {
  const Plan plan = context_.plan.now();
  auto destinations = pipeline::open_destinations(plan.destinations);
  const auto song = [&](std::stop_token s) {
    return song_.of(context_.catalogue, context_.plan.shoot(), plan.song, std::move(s));
  };
  pipeline::Pipeline pipeline(context_.catalogue, plan, context_.clock, song);
  const auto studied = pipeline.study(destinations, {}, stop);
  if (!studied)
    context_.log.say("studying clips: " + studied.error().what);
  else if (studied->clips > 0)
    context_.log.say("studied " + counted(studied->clips, "clip"));
  if (studied && studied->why) context_.log.say("studying clips: " + studied->why->what);
  const auto shoot = PosixFs::open_at(context_.plan.shoot());
  const auto seen = shoot ? pipeline.pictures(destinations, **shoot, stop) : tl::unexpected(shoot.error());
  if (!seen) context_.log.say("pictures of clips: " + seen.error().what);
}

}  // namespace everytake::service
