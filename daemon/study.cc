// Pipeline::study and Pipeline::classify: what each clip is.
#include <algorithm>

#include "media/classify.h"
#include "media/probe.h"
#include "media/sidecar.h"
#include "pipeline.h"

namespace everytake {
namespace {

constexpr std::uint64_t kLargestSidecar = 1 << 20;

Result<std::string> read_text(const ReadFs& fs, const Path& path) {
  const auto file = TRY(fs.open(path, Cache::use));
  const auto size = TRY(file->stat()).size;
  if (size > kLargestSidecar) return fail(Code::corrupt, "too large to be a sidecar");
  std::string text(size, '\0');
  text.resize(TRY(file->read(std::as_writable_bytes(std::span(text)), 0)));
  return text;
}

bool is_xml(const Path& path) {
  const auto extension = path.extension();
  return extension == ".xml" || extension == ".XML";
}

// A sidecar that can't be used is a problem of its clip, not the end of it.
void add_sidecar(ClipFacts& facts, const ReadFs& fs, const Path& path) {
  const auto text = read_text(fs, path);
  const auto sidecar = text ? parse_sidecar(*text) : tl::unexpected(text.error());
  if (sidecar)
    apply(facts, *sidecar, path);
  else if (sidecar.error().code != Code::unsupported)
    facts.problems.push_back({"sidecar_unreadable", path.string(), "", "its sidecar can't be read"});
}

// The first destination that has the clip's video under its final name: read back and equal.
const OpenDestination* home_of(std::span<OpenDestination> destinations, const Path& stored) {
  for (const auto& each : destinations)
    if (each.fs && each.fs->stat(stored)) return &each;
  return nullptr;
}

Result<ClipFacts> facts_of(const ReadFs& fs, const Path& roll, const ClipFiles& files, std::stop_token stop) {
  auto facts = TRY(probe(fs, roll / files.parts.front().path, std::move(stop)));
  for (const auto& part : files.parts)
    if (part.role == FileRole::sidecar && is_xml(part.path)) add_sidecar(facts, fs, roll / part.path);
  return facts;
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
    const auto facts = facts_of(*home->fs, roll, clip.files, stop);
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
