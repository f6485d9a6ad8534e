// Everything there is to know of a recording, from all of its files.
#pragma once

#include <span>
#include <stop_token>

#include "model.h"

namespace everytake::media {

// `folder` is where the clip's files lie in `fs`; the paths in `files` are relative to it. Containers are believed on
// their streams; for gamma, gamut and capture rate the order of trust is: sidecar, notes inside the file, makers'
// boxes, timed metadata, sample entry and keys, a transfer code of PQ or HLG, the plan's `cameras`. Else they stay
// unknown. A broken recording or sidecar is no Error but a problem; only a failing disk and `stop` are. Problems: those
// of probe() and apply(), `sidecar_unreadable`.
Result<ClipFacts> read_facts(const ReadFs& fs, const Path& folder, const ClipFiles& files,
                             std::span<const CameraDefault> cameras, std::stop_token stop);

}  // namespace everytake::media
