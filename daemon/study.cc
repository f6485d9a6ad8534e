// Pipeline::study and Pipeline::classify: what each clip is.
#include <algorithm>

#include "media/classify.h"
#include "media/facts.h"
#include "pipeline.h"

namespace everytake {
namespace {

// The first destination that has the clip's video under its final name: read back and equal.
const OpenDestination* home_of(std::span<OpenDestination> destinations, const Path& stored) {
  for (const auto& each : destinations)
    if (each.fs && each.fs->stat(stored)) return &each;
  return nullptr;
}

}  // namespace

Result<std::size_t> Pipeline::study(std::span<OpenDestination> destinations, std::span<const ClipId> only,
                                    std::stop_token stop) {
  std::vector<ClipId> studied;
  for (const auto& clip : TRY(catalogue_.clips_to_study(only))) {
    if (stop.stop_requested()) break;
    const auto roll = Path(plan_.slug()) / clip.roll;
    const auto* home = home_of(destinations, roll / clip.files.parts.front().path);
    if (!home) continue;
    const auto facts = read_facts(*home->fs, roll, clip.files, plan_.cameras, stop);
    if (!facts && facts.error().code == Code::cancelled) break;
    if (!facts) continue;  // its disk went away: another time
    TRY(catalogue_.record_facts(clip.id, *facts, clock_.now()));
    studied.push_back(clip.id);
  }
  if (!studied.empty()) TRY(classify(studied));
  return studied.size();
}

Result<void> Pipeline::classify(std::span<const ClipId> only) {
  for (const auto& clip : TRY(catalogue_.clips()))
    if (only.empty() || std::find(only.begin(), only.end(), clip.id) != only.end())
      TRY(catalogue_.record_rule(clip.id, everytake::classify(clip.facts, clip.placement, plan_.frame_rate)));
  return {};
}

}  // namespace everytake
