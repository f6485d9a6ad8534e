// The song from left to right and, beneath, the clips where they lie in it.
#pragma once

#include <span>
#include <string>

#include "cli/terminal.h"
#include "model.h"

namespace everytake::cli {

// As wide as the screen: times, sections to scale, how many takes hold each moment, then the clips of each kind as
// bars, as few lines as hold them side by side. Only placed clips have bars. Empty where the song's length is not
// known.
std::string song_strip(const Plan& plan, std::span<const Clip> clips, const Screen& screen);

}  // namespace everytake::cli
