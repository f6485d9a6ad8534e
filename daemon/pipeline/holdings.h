// What of a card's files lies at its destinations.
#pragma once

#include <cstdint>
#include <optional>
#include <set>
#include <span>
#include <string>
#include <vector>

#include "catalogue/catalogue.h"
#include "pipeline/match_destinations.h"

namespace everytake::pipeline {

// At one destination.
struct Holding {
  std::size_t verified = 0, unproven = 0;  // files; unproven: read back equal, but perhaps from memory
  std::uint64_t bytes = 0;                 // of the verified ones
  std::optional<Evidence> readback;        // the weakest of theirs

  void add(const catalogue::CopyRow& copy, std::uint64_t size);
  // That there are unproven ones, and what to do about it.
  Problem unproven_problem(const std::string& destination) const;
};

// Of `files`, which are known on the card with this key, at each of `matches`: copies that stand as they were. Fails
// when the catalogue does.
Result<std::vector<Holding>> holdings_of(const catalogue::Catalogue& catalogue, const std::string& card,
                                         const std::set<FileId>& files, std::span<const MatchedDestination> matches);

}  // namespace everytake::pipeline
