// One visit of a card by the daemon, told in the log.
#pragma once

#include <functional>
#include <stop_token>

#include "base/log.h"
#include "catalogue/catalogue.h"
#include "service/card_priority.h"
#include "service/card_queue.h"
#include "service/live_plan.h"

namespace everytake::service {

// What the daemon's threads share. Everything outlives them and is safe to use from all.
struct DaemonContext {
  catalogue::Catalogue& catalogue;
  LivePlan& plan;
  const Clock& clock;
  Log& log;
  CardPriority& card_priority;
  std::function<void()> some_copied = [] {};  // called now and then while a card is copied
};

struct Visited {
  pipeline::Exit exit = pipeline::Exit::done;
  bool busy = false;  // another visit, or another process, has the card
};

// Offloads what is at `job.root` and says whether it may be wiped. A mount that is no camera's card is left alone, and
// done. Holds nothing of it open afterwards: it can be unmounted.
Visited visit_card(const CardJob& job, const DaemonContext& context, std::stop_token stop);

}  // namespace everytake::service
