// What is wrong with clips that no file says of itself: beside the plan, beside each other, and by what was measured.
#pragma once

#include <span>
#include <vector>

#include "model.h"

namespace everytake::media {

// What is not known is nothing wrong. In this order:
//   other_gamma      not the plan's gamma; where the plan has none, not that of nearly all its neighbours
//   other_rate       plays at another rate than the edit, and is no slow motion
//   other_size       not the size of nearly all its neighbours of the same capture rate
//   too_short        under a second, also on the edit's timeline
//   black_picture    every frame looked at is black: a lens cap
//   no_frames        no frame can be decoded
//   no_sound         none, though the clip runs in real time
//   silent_sound     a sound stream that holds nothing
//   clipped_sound    a good part of it at full scale
//   sound_unreadable none of it can be decoded
// Neighbours are of the same camera, or of the same roll where no camera is known; nearly all are four fifths of at
// least three. Sound is no matter for what was captured at 1.5 times the edit's rate or more, nor of a camera that
// never has any while another has.
// `clip` is one of `all`.
std::vector<Problem> checks_of(const Clip& clip, std::span<const Clip> all, const Plan& plan);

// Puts what checks_of() tells of each clip after the problems it has, in time that grows as the clips do.
void add_checks(std::vector<Clip>& clips, const Plan& plan);

}  // namespace everytake::media
