// What a recording can have. The process that says it has this or that may have been taken over by what it read.
#pragma once

#include <string_view>

#include "base/wire.h"
#include "clip_fields.h"
#include "media/picture/strip.h"

namespace everytake::examiner {

inline constexpr std::size_t kMostStrip = 16 << 20;  // bytes; real ones are about 200 kB

bool is_credible(const ClipFacts& facts);
bool is_credible(const SoundLevels& levels);
bool is_credible(const FramesSeen& seen);
bool is_credible(const media::Strip& strip);
bool is_credible(Micros length);

// The packed value; `corrupt` where it is none, or no recording can have it.
template <class T>
Result<T> believe(std::string_view bytes) {
  auto value = unpack<T>(bytes);
  if (!value || !is_credible(*value)) return fail(Code::corrupt, "says of itself what can't be");
  return value;
}

}  // namespace everytake::examiner
