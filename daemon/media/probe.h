// What a recording's file says of itself.
#pragma once

#include <stop_token>

#include "media/container/av_container.h"
#include "model.h"

namespace everytake::media {

// Everything the container tells. A broken recording is no Error: its facts are few and its problems say why, with the
// codes `empty`, `incomplete` (recording broke off: no index), `unreadable`, `truncated` (the end is missing),
// `no_picture`, `variable_rate`, `timecode_invalid`. Only a failing disk and `stop` are Errors.
Result<ClipFacts> probe(const ReadFs& fs, const Path& video, std::stop_token stop);

// The part of it that decides: what to believe of a container. `size` is the file's, in bytes.
ClipFacts facts_of(const Container& container, const Path& video, std::uint64_t size);

// The same with what only the file itself shows: how an MXF file ends, and why libav made nothing of one (nullopt).
Result<ClipFacts> facts_of(const ReadFs& fs, const Path& video, const std::optional<Container>& container,
                           std::uint64_t size);

}  // namespace everytake::media
