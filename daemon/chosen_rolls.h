// Some rolls taken in hand: nobody else works on their cards meanwhile.
#pragma once

#include <span>
#include <vector>

#include "catalogue/catalogue.h"
#include "lease.h"
#include "model.h"

namespace everytake {

class ChosenRolls {
 public:
  // None named: all. `busy` while another process, or another part of this one, works on a card of theirs.
  static Result<ChosenRolls> take(Catalogue& catalogue, std::span<const RollId> only, const Clock& clock);

  const std::vector<Roll>& rolls() const { return rolls_; }
  const std::vector<FileRow>& files() const { return files_; }  // of all of them

 private:
  std::vector<Roll> rolls_;
  std::vector<FileRow> files_;
  std::vector<Lease> leases_;
};

// Whether the plan names this destination: then every file should be there.
bool is_planned(const Plan& plan, const std::string& destination);

}  // namespace everytake
