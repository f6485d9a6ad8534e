#include "pipeline/holdings.h"

#include <fmt/format.h>

#include <algorithm>

#include "base/text.h"
#include "pipeline/copy_status.h"

namespace everytake::pipeline {

void Holding::add(const catalogue::CopyRow& copy, std::uint64_t size) {
  unproven += copy.state == CopyState::copied && copy.readback.has_value();
  if (copy.state != CopyState::verified) return;
  ++verified;
  bytes += size;
  readback = std::max(readback.value_or(Evidence::direct), copy.readback.value_or(Evidence::cached));
}

Problem Holding::unproven_problem(const std::string& destination) const {
  return {ProblemCode::read_from_memory, "", destination,
          fmt::format("\"{}\": {} read back equal, but from memory for all that can be seen, so they don't count: "
                      "use another disk, or write accept_cached = true to this destination in the plan",
                      shown(destination), counted(unproven, "file"))};
}

Result<std::vector<Holding>> holdings_of(const catalogue::Catalogue& catalogue, const std::string& card,
                                         const std::set<FileId>& files, std::span<const MatchedDestination> matches) {
  std::vector<Holding> holdings(matches.size());
  auto uncounted = files;  // a file of several sightings counts once
  const auto now = TRY(IndexedFiles::of_card(catalogue, card));
  for (const auto& row : now.rows()) {
    if (uncounted.erase(row.id) == 0) continue;
    for (const auto& copy : row.copies)
      for (std::size_t i = 0; i < matches.size(); ++i)
        if (copy.destination == matches[i].id && look_at(copy, matches[i]) == offload::CopySeen::Now::unchanged)
          holdings[i].add(copy, row.file.size);
  }
  return holdings;
}

}  // namespace everytake::pipeline
