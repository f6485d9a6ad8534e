#include "offload/plan_copies.h"

#include <fmt/format.h>

#include "base/text.h"
#include "os/volume.h"

namespace everytake::offload {
namespace {

constexpr std::uint64_t kCluster = 4096;  // what the last, half-filled block of a file costs

std::uint64_t on_disk(std::uint64_t size) {
  return (size + kCluster - 1) / kCluster * kCluster;
}

// Why nothing may go to this target; nullopt when all that is wanted fits.
std::optional<Problem> refusal(const TargetRoom& target, std::size_t index, std::span<const FileToCopy> files) {
  std::uint64_t needed = 0;
  for (const auto& file : files) {
    if (file.done.count(index)) continue;
    needed += on_disk(file.source.size);
    if (file.source.size > target.volume.largest_file)
      return Problem{ProblemCode::too_large, file.source.path.string(), target.name,
                     fmt::format("destination \"{}\" can't hold files over {}: format it as exFAT, or use another disk",
                                 target.name, bytes_text(target.volume.largest_file))};
  }
  if (needed == 0) return std::nullopt;
  if (target.volume.read_only)
    return Problem{ProblemCode::read_only, "", target.name,
                   fmt::format("destination \"{}\" is mounted read-only", target.name)};
  if (!tells_room(target.volume)) return std::nullopt;
  const auto reserve = static_cast<std::uint64_t>(static_cast<double>(target.volume.total_bytes) * kReserve);
  const auto room = target.volume.free_bytes - std::min(target.volume.free_bytes, reserve);
  if (needed <= room) return std::nullopt;
  return Problem{ProblemCode::no_room, "", target.name,
                 fmt::format("destination \"{}\" has room for {} and needs {}: free {} or use another disk",
                             target.name, bytes_text(room), bytes_text(needed), bytes_text(needed - room))};
}

}  // namespace

CopyPlan plan_copies(std::span<const FileToCopy> files, std::span<const TargetRoom> targets) {
  CopyPlan plan;
  plan.bytes.resize(targets.size());
  plan.files.resize(targets.size());
  for (std::size_t i = 0; i < targets.size(); ++i)
    if (auto problem = refusal(targets[i], i, files)) {
      plan.problems.push_back(std::move(*problem));
      plan.refused.insert(i);
    }
  plan.jobs.reserve(files.size());
  for (const auto& file : files) {
    CopyJob job{file.file, file.source, file.stored, {}, std::nullopt, file.otherwise};
    for (std::size_t i = 0; i < targets.size(); ++i) {
      if (file.done.count(i) || plan.refused.count(i)) continue;
      job.targets.push_back(i);
      plan.bytes[i] += file.source.size;
      ++plan.files[i];
    }
    if (!job.targets.empty()) plan.jobs.push_back(std::move(job));
  }
  return plan;
}

}  // namespace everytake::offload
