#include "media/facts.h"

#include <algorithm>
#include <cmath>

#include "base/text.h"
#include "media/metadata/embedded.h"
#include "media/metadata/sidecar.h"
#include "media/probe.h"
#include "os/small_file.h"

namespace everytake::media {
namespace {

constexpr std::size_t kLargestNotes = 1 << 20;  // bytes

std::string name_of(const Path& path) {
  return shown(path.filename().string());
}

Result<std::string> read_notes(const ReadFs& fs, const Path& path) {
  return read_beginning(fs, path, kLargestNotes + 1);
}

// The notes beside the clip. One that can't be read, or is of another recording than the notes inside the clip, is a
// problem and not used. True where it was used.
Result<bool> add_sidecar(const ReadFs& fs, const Path& folder, const Path& path, const std::optional<Sidecar>& inside,
                         ClipFacts& facts) {
  const auto text = read_notes(fs, folder / path);
  if (!text && text.error().code != Code::not_found) return tl::unexpected(text.error());
  const auto sidecar = text ? parse_sidecar(*text) : tl::unexpected(text.error());
  if (sidecar && !(inside && inside->umid && sidecar->umid && *inside->umid != *sidecar->umid))
    return apply(facts, *sidecar, path);
  const auto trouble = [&](ProblemCode code, const std::string& message) {
    facts.problems.push_back({code, path.string(), "", name_of(path) + " " + message});
  };
  if (sidecar)
    trouble(ProblemCode::sidecar_of_another_clip,
            "is about another recording: nothing of it was used. Was the clip renamed?");
  else if (sidecar.error().code != Code::unsupported)
    trouble(ProblemCode::sidecar_unreadable,
            "can't be read, so gamma and capture rate may be missing: " + sidecar.error().what);
  return false;
}

// Subtitles that some flying cameras write for each frame: "[color_md : dlog_m]".
SourceMetadata subtitle_metadata(std::string_view text) {
  constexpr std::string_view kField = "[color_md";
  SourceMetadata claim{.origin = "subtitles"};
  const auto at = text.find(kField);
  const auto begin = at == std::string_view::npos ? at : text.find_first_not_of(" :", at + kField.size());
  if (begin == std::string_view::npos) return claim;
  std::string value = lower_case(text.substr(begin, text.find_first_of("] \r\n", begin) - begin));
  if (value == "dlog_m") claim.gamma = "d-log-m";
  if (value == "dlog") claim.gamma = "d-log";
  return claim;
}

SourceMetadata plan_metadata(std::span<const CameraDefault> cameras, const ClipFacts& facts) {
  SourceMetadata claim{.origin = "plan"};
  for (const auto& camera : cameras)
    if (facts.camera && lower_case(camera.model) == lower_case(*facts.camera)) claim.gamma = lower_case(camera.gamma);
  return claim;
}

bool has_extension(const Path& path, std::string_view extension) {
  return lower_case(path.extension().string()) == extension;
}

void say_where(ClipFacts& facts, const Path& video) {
  for (auto& problem : facts.problems) problem.path = video.string();
}

// The first video of the clip with all that is said of it.
Result<ClipFacts> first_facts(const ReadFs& fs, const Path& folder, const ClipFiles& files, const Path& video,
                              std::stop_token stop) {
  const auto size = TRY(fs.stat(folder / video)).size;
  const auto container = size > 0 ? TRY(read_container(fs, folder / video, stop)) : std::nullopt;
  auto facts = TRY(facts_of(fs, folder / video, container, size));
  say_where(facts, video);
  const auto embedded = container ? TRY(read_embedded(fs, folder / video, *container)) : Embedded{};
  bool noted = false;
  for (const auto& part : files.parts)
    if (part.role == FileRole::sidecar && has_extension(part.path, ".xml"))
      noted = TRY(add_sidecar(fs, folder, part.path, embedded.sidecar, facts)) || noted;
  if (embedded.sidecar && !noted) apply(facts, *embedded.sidecar, video, "notes in the file");
  for (const auto& part : files.parts)
    if (part.role == FileRole::sidecar && has_extension(part.path, ".srt"))
      apply(facts, subtitle_metadata(TRY(read_notes(fs, folder / part.path))));
  for (const auto& metadata : embedded.sources) apply(facts, metadata);
  return facts;
}

// A recording that goes on in a further file.
void join(ClipFacts& whole, const ClipFacts& next, std::uint64_t next_size) {
  const auto bytes =
      whole.bit_rate && whole.duration ? static_cast<double>(*whole.bit_rate) / 8 * seconds(*whole.duration) : 0;
  const auto add = [](auto& sum, const auto& more) { sum = sum && more ? std::optional(*sum + *more) : std::nullopt; };
  add(whole.duration, next.duration);
  add(whole.frames, next.frames);
  if (whole.duration && *whole.duration > Micros::zero())
    whole.bit_rate = std::llround((bytes + static_cast<double>(next_size)) * 8 / seconds(*whole.duration));
  whole.problems.insert(whole.problems.end(), next.problems.begin(), next.problems.end());
}

}  // namespace

Result<ClipFacts> read_facts(const ReadFs& fs, const Path& folder, const ClipFiles& files,
                             std::span<const CameraDefault> cameras, std::stop_token stop) {
  std::optional<ClipFacts> facts;
  for (const auto& part : files.parts) {
    if (part.role != FileRole::video) continue;
    if (!facts) {
      facts = TRY(first_facts(fs, folder, files, part.path, stop));
    } else {
      auto next = TRY(probe(fs, folder / part.path, stop));
      say_where(next, part.path);
      join(*facts, next, TRY(fs.stat(folder / part.path)).size);
    }
  }
  if (!facts) return fail(Code::invalid, "clip " + shown(files.name) + " has no video file");
  apply(*facts, plan_metadata(cameras, *facts));
  return *facts;
}

}  // namespace everytake::media
