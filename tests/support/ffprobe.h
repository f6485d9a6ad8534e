// What a general-purpose reader says of a recording: ffprobe's output, of FFmpeg.
#pragma once

#include <nlohmann/json.hpp>

#include "model.h"
#include "os/fs.h"
#include "support/rooms.h"

namespace everytake::test {

// Everything it prints of the format and the streams; null where it refuses.
nlohmann::json ffprobe(const Path& file);
// The first stream of that kind ("video"); null where there is none.
nlohmann::json stream_of(const nlohmann::json& all, const char* type);

// Expects every field that both of them have to be equal: rate, frames, length, size and turn, codec, depth, bit rate,
// sound, timecode, time of recording.
void expect_ffprobe_agrees(const ClipFacts& facts, const Path& file);

}  // namespace everytake::test
