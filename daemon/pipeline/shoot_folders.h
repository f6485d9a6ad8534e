// A destination taken in hand: it gets its mark, and the shoot a folder of its own in it that no other catalogue has.
#pragma once

#include <optional>
#include <string>

#include "catalogue/catalogue.h"
#include "pipeline/match_destinations.h"

namespace everytake::pipeline {

struct TakenInHand {
  std::optional<Problem> refusal;     // why nothing may go there; else the destination has its mark, home and row
  std::optional<std::string> remark;  // what a person should know, although it goes on
};

// The folder is the one the catalogue knows, else `<slug>` where it is free or this catalogue's own, else `<slug>-2`
// and so on. One that belongs to another catalogue is never entered: where that one keeps the same plan, or is a copy
// of this catalogue that went on elsewhere, the destination is refused (`foreign_shoot`).
// The claim gets `stamp`, one for all that are taken in hand together: from here on a copy of this catalogue that does
// not know it keeps out. Without one nothing is written, and the home is the one it would get. Fails when the catalogue
// does.
Result<TakenInHand> take_in_hand(catalogue::Catalogue& catalogue, const Plan& plan, MatchedDestination& matched,
                                 const std::optional<std::string>& stamp);

// Whether the catalogue may write into the destination's home now. Fails where that can't be read.
Result<bool> is_own_home(const catalogue::Catalogue& catalogue, const MatchedDestination& matched);

// The first letters of a catalogue's id: part of the names of its unfinished files.
Result<std::string> token_of(const catalogue::Catalogue& catalogue);

}  // namespace everytake::pipeline
