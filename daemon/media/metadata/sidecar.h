// The camera's notes on a recording: NonRealTimeMeta of the professionalDisc family, as a file beside the clip
// ("C0001M01.XML") or inside it.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "media/container/timecode.h"
#include "media/metadata/source_metadata.h"
#include "model.h"

namespace everytake::media {

// Unknown is nullopt. What names say is lower case, otherwise as the camera writes it.
struct Sidecar {
  std::optional<std::string> umid;     // of the recording
  std::optional<std::int64_t> frames;  // of the file
  std::optional<Rational> capture_rate;
  std::optional<Rational> format_rate;  // at which the file plays
  std::optional<int> width, height;     // as recorded
  std::optional<std::string> gamma, gamut;
  std::optional<std::string> camera, lens;
  std::optional<Instant> recorded_at;
  std::optional<int> ltc_base;  // frames a second that its timecode counts
  bool half_step = false;       // the file has several frames to one of the timecode
  std::optional<LtcTime> first, last;
  std::optional<int> channels;  // listed: cameras list them for recordings without sound too

  bool operator==(const Sidecar&) const = default;
};

// `corrupt` where it is no well-formed XML or larger than 1 MiB, `unsupported` where it is of another kind. Document
// types and entities are not looked at. Values that make no sense are left out.
Result<Sidecar> parse_sidecar(std::string_view xml);

// Adds what the sidecar knows. On streams the container is believed, on gamma, gamut, capture rate, timecode and date
// the sidecar. One that counts other frames or another rate is of another clip: nothing of it is taken. Problems:
// `sidecar_of_another_clip`, `sidecar_disagrees`. `origin` goes beside each value taken; values that came from a
// sidecar before stay. False where it was not used.
bool apply(ClipFacts& facts, const Sidecar& sidecar, const Path& path, const std::string& origin = "sidecar");

// `ClipMain` of the Semi-Pro clip metadata that some cameras put into a QuickTime key: gamma, gamut, exposure index,
// white balance. Errors as of
// parse_sidecar().
Result<SourceMetadata> parse_clip_metadata(std::string_view xml);

}  // namespace everytake::media
