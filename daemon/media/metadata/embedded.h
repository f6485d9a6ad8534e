// What a QuickTime or MP4 file says of its recording in places that libavformat does not look at.
#pragma once

#include <optional>
#include <vector>

#include "media/container/av_container.h"
#include "media/metadata/sidecar.h"
#include "media/metadata/source_metadata.h"

namespace everytake::media {

struct Embedded {
  std::optional<Sidecar> sidecar;       // the camera's notes, where a copy of them is in the file
  std::vector<SourceMetadata> sources;  // in order of trust
};

// Looks in: `meta`/`xml ` (NonRealTimeMeta), vendors' XML and boxes, the first sample of timed metadata, `logs` of the
// sample entry, QuickTime keys, the transfer code where it is PQ or HLG. Damaged places count as absent; only the
// disk's errors are Errors. `container` is what libav made of the same file.
Result<Embedded> read_embedded(const ReadFs& fs, const Path& video, const Container& container);

}  // namespace everytake::media
