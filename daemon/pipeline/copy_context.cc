#include "pipeline/copy_context.h"

namespace everytake::pipeline {

IngestWatcher::Start start_of(const std::string& roll, const offload::CopyPlan& plan,
                              std::span<const offload::Target> targets) {
  IngestWatcher::Start start{roll, plan.jobs.size(), 0, {}, plan.bytes};
  for (const auto& job : plan.jobs) start.bytes += job.source.size;
  for (const auto& target : targets) start.targets.push_back(target.name);
  return start;
}

}  // namespace everytake::pipeline
