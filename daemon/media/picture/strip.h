// A clip's frames side by side.
#pragma once

#include <string>
#include <string_view>

#include "base/result.h"
#include "model.h"

namespace everytake::media {

struct Strip {
  std::string jpeg;  // empty where no frame can be decoded
  FramesSeen seen;
};

// As bytes, to go from one process to another of the same program. `corrupt` for what is no strip.
inline constexpr std::size_t kMostStrip = 16 << 20;  // bytes; real ones are about 200 kB
std::string pack_strip(const Strip& strip);
Result<Strip> unpack_strip(std::string_view bytes);

}  // namespace everytake::media
