// Everything that is on a card.
#pragma once

#include <stop_token>

#include "base/fs.h"
#include "model.h"

namespace everytake {

// Lists every file and folder, hidden ones too, files sorted by the bytes of their paths. Links, devices and the like
// are not followed but told as `not_a_file`. A folder or entry that can't be read, is nested deeper than any camera
// does, or was met before, makes the listing incomplete with a problem each; the rest goes on.
// Fails only with `gone` and `cancelled`, and when the root itself can't be listed.
Result<Listing> scan(const ReadFs& card, std::stop_token stop);

}  // namespace everytake
