// The destinations of this moment matched with what the catalogue knows of them.
#pragma once

#include <optional>
#include <span>
#include <vector>

#include "catalogue/rows.h"
#include "destinations.h"
#include "model.h"

namespace everytake {

struct DestinationPlace {
  OpenDestination* open = nullptr;
  DestinationId id;                // 0 while the catalogue has no row of it
  std::optional<Problem> absence;  // why nothing can be read or written there now
  bool is_here() const { return !absence; }
};

// One a destination, in order. A disk that is not the one the catalogue knows under the name counts as absent.
std::vector<DestinationPlace> places_of(std::span<OpenDestination> open, std::span<const DestinationRow> rows);

}  // namespace everytake
