// Whether something lies on the card itself, and what else does.
#pragma once

#include <string>
#include <vector>

#include "pipeline/pipeline.h"

namespace everytake::pipeline {

// Whether a destination is on the very filesystem of a card that is a medium: it would go with it.
bool is_on_card(const OpenDestination& destination, const Card& card);

// Refuses (`invalid`) a destination that is on the card, or in the tree of it that a folder of it was named of.
Result<void> check_not_on_card(std::span<const OpenDestination> destinations, const Card& card);

// Whether the filesystem that `fs` is on is a medium that a camera may format, and not one of this computer's own:
// those that hold the system's folders; or the shoot, unless it has a camera's folder at its top.
bool is_medium(const ReadFs& fs, const Volume& volume, const Path& shoot);

// Names of what lies beside `folder` on its card: from there up to the top, or to the whole filesystem of a medium.
// Nothing where it is the whole card.
std::vector<std::string> beside(const Path& folder, const Volume& volume, bool medium);

}  // namespace everytake::pipeline
