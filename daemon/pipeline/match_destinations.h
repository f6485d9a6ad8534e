// The destinations of this moment matched with what the catalogue knows of them.
#pragma once

#include <optional>
#include <span>
#include <vector>

#include "catalogue/rows.h"
#include "model.h"
#include "pipeline/destinations.h"

namespace everytake::pipeline {

struct MatchedDestination {
  OpenDestination* open = nullptr;  // of the caller's
  DestinationId id;                 // 0 while the catalogue has no row of it
  std::optional<Problem> absence;   // why nothing can be read or written there now
  std::string mark;                 // that its folder bears; empty where it bears none yet
  Path home;                        // the shoot's folder in it, as the catalogue knows it; empty where it has none yet
  bool is_vouched_for = false;      // it is the folder the catalogue knows: by its mark, or by its filesystem's UUID
  bool is_here() const { return !absence; }
};

// One a destination, in order. Absent is also a folder that is not the one the catalogue knows under the name, by its
// mark and its filesystem's UUID, and one of several that bear the same mark.
std::vector<MatchedDestination> match_destinations(std::span<OpenDestination> open,
                                                   std::span<const catalogue::DestinationRow> rows);

// Makes absent those that bear the same mark: they are one folder seen twice, or the copy of a disk, and which is which
// can't be told.
void refuse_twins(std::vector<MatchedDestination>& matches);

// Where the rolls lie at a destination.
struct RollsAt {
  const Fs* fs = nullptr;
  Path folder;
};
// Of those that are here. `slug` is the folder's name where the catalogue knows none.
std::vector<RollsAt> rolls_at(std::span<const MatchedDestination> matches, const std::string& slug);
// The first that has all of `files` of a roll under their final names: read back and equal. Its folder is the roll's
// then. nullopt where there is none.
std::optional<RollsAt> holder_of(std::span<const RollsAt> all, const std::string& roll, std::span<const Path> files);

}  // namespace everytake::pipeline
