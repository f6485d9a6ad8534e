// Everything that is on a card.
#pragma once

#include <stop_token>

#include "model.h"
#include "os/fs.h"

namespace everytake::card {

struct ScanLimits {
  int depth = 64;                   // folders within folders; cameras nest four or five
  std::size_t entries = 2'000'000;  // more is no card but an attack on memory
};

// Lists every file and folder, hidden ones too, all sorted by the bytes of their paths. Links, devices and the like are
// not followed but told as `not_a_file`. A folder or entry that can't be read (`unreadable`), is nested too deep
// (`too_deep`) or is a folder met before (`loop`) makes the listing incomplete; the rest goes on.
// Fails with `gone`, `cancelled`, `invalid` when there are too many entries, and when the root itself can't be listed.
Result<Listing> scan(const ReadFs& card, std::stop_token stop, const ScanLimits& limits = {});

}  // namespace everytake::card
