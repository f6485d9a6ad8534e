// Which clip a person means.
#pragma once

#include <span>
#include <string>
#include <string_view>

#include "base/result.h"
#include "model.h"

namespace everytake::catalogue {

struct NamedClip {
  ClipId id;
  std::string roll;
  std::string name;
  Path path;  // of its first video, relative to the roll
};

// By id ("17"), name ("C0003"), file name ("C0003.MP4") or path, or any of the latter three after "ROLL/". Exact
// matches go before those that differ in case. `not_found` names the nearest, `invalid` lists what it could mean.
Result<ClipId> match_clip(std::string_view text, std::span<const NamedClip> clips);

}  // namespace everytake::catalogue
