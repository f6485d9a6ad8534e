// The one thread that looks into clips and lets destinations catch up, at low priority: cards go before.
#pragma once

#include <stop_token>

#include "base/sync.h"
#include "pipeline/kept_song.h"
#include "pipeline/pipeline.h"
#include "service/card_visit.h"

namespace everytake::service {

class BackgroundStudy {
 public:
  explicit BackgroundStudy(const DaemonContext& context) : context_(context) {}

  // There may be something to study, or to catch up with. From any thread.
  void wake();
  // Until close().
  void run(std::stop_token stop);
  void wait_until_idle();
  void close();

 private:
  void study(std::stop_token stop);
  void catch_up(std::stop_token stop);
  void tell(const Result<pipeline::RepairReport>& report) const;

  const DaemonContext& context_;
  pipeline::KeptSong song_;  // of the thread that runs
  Mutex mu_;
  CondVar changed_;
  bool wanted_ GUARDED_BY(mu_) = false;
  bool working_ GUARDED_BY(mu_) = false;
  bool closed_ GUARDED_BY(mu_) = false;
};

}  // namespace everytake::service
