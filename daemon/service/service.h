// The daemon's threads: the caller's waits for signals and mounts and touches no disk; a worker for each card, a
// watcher for each watched folder, and one that studies clips when there is something to study.
#pragma once

#include <vector>

#include "base/log.h"
#include "card/arrivals.h"
#include "pipeline/exit_codes.h"
#include "pipeline/open_shoot.h"

namespace everytake::service {

struct ServiceOptions {
  std::vector<Path> watched;                            // absolute
  bool once = false;                                    // offload what is there now, and end
  card::SteadyLength settle = std::chrono::seconds(5);  // nothing in a watched folder's child may change for so long
};

// Works on the shoot until SIGINT or SIGTERM can be read from `signals` (a signalfd), or under `once` until all is
// done; the worst of what happened. Both signals must be blocked before any thread is made. Fails with `busy` while
// another daemon works on the shoot, and before any work when a watched folder is not there. A signal is followed
// within a second: where a thread hangs in a disk that does not answer, by ending the process. What it was at goes on
// next time.
Result<pipeline::Exit> run_service(pipeline::Shoot shoot, const ServiceOptions& options, int signals,
                                   const Clock& clock, Log& log);

}  // namespace everytake::service
