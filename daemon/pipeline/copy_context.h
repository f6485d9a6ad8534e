// What copies are made with, whether from a card or from other copies.
#pragma once

#include <span>
#include <stop_token>
#include <string>

#include "offload/plan_copies.h"
#include "pipeline/pipeline.h"

namespace everytake::pipeline {

// References outlive it.
struct CopyContext {
  catalogue::Catalogue& catalogue;
  const Plan& plan;
  const Clock& clock;
  std::span<OpenDestination> destinations;
  const IngestWatcher& watcher;
  std::stop_token stop;
};

// What the watcher is told of a plan before it is carried out. `roll`: as people are to read it.
IngestWatcher::Start start_of(const std::string& roll, const offload::CopyPlan& plan,
                              std::span<const offload::Target> targets);

}  // namespace everytake::pipeline
