// A clip as JSON, for commands and scripts alike.
#pragma once

#include "base/json.h"
#include "model.h"

namespace everytake::exports {

// Everything known of a clip. What is not known is null. Durations are in seconds, rates exact fractions as text.
// "song"."stored_slow" is stored_slow(): null also where it is not known, and spans then take it as 1.
// "sections" are those it was tagged with; "song"."sections" those of the plan with a second or more of it.
Json clip_json(const Clip& clip, const Plan& plan);

}  // namespace everytake::exports
