// What a clip is, by rule.
#pragma once

#include "model.h"

namespace everytake::media {

// The first that holds:
// - it can't be read: nothing can be said
// - it plays slower than it was captured, at 1.5 times the edit's rate or more, and has no sound, with which a file
//   plays in real time whatever its notes say: slow-mo
// - 10 s or more of it lie in the song, at the song's own speed: performance, at any frame rate
// - it was captured at 1.5 times the edit's rate or more: slow-mo, also where mimed to fast playback
// - 10 s or more of it lie in the song, at another speed: performance
// - anything else: b-roll
// `because` is one sentence with the numbers that decided.
Judgement classify(const ClipFacts& facts, const Placement& placement, Rational edit_rate);

}  // namespace everytake::media
