// Which clip a person means.
#pragma once

#include <span>
#include <string>
#include <string_view>
#include <vector>

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

// Several at once, each once, in the order of `clips`. What match_clip() takes; a wildcard ("C00*", "R002/C000?", as
// glob(7) has it) over the same names; and a range of one roll, both ends included, by the order of names
// ("C0003-C0010", "R002/C0001-C0012"). A name that is a clip's own goes before what it could mean besides.
Result<std::vector<ClipId>> match_clips(std::string_view text, std::span<const NamedClip> clips);

}  // namespace everytake::catalogue
