#include "chosen_rolls.h"

#include <algorithm>
#include <set>

namespace everytake {

Result<ChosenRolls> ChosenRolls::take(Catalogue& catalogue, std::span<const RollId> only, const Clock& clock) {
  ChosenRolls chosen;
  std::set<std::string> cards;
  for (auto& roll : TRY(catalogue.rolls())) {
    if (!only.empty() && std::find(only.begin(), only.end(), roll.id) == only.end()) continue;
    if (cards.insert(roll.card).second) chosen.leases_.push_back(TRY(Lease::take(catalogue, roll.card, clock)));
    chosen.rolls_.push_back(std::move(roll));
  }
  for (const auto& roll : chosen.rolls_) {
    auto files = TRY(catalogue.files_of_roll(roll.id));
    chosen.files_.insert(chosen.files_.end(), std::make_move_iterator(files.begin()),
                         std::make_move_iterator(files.end()));
  }
  return chosen;
}

bool is_planned(const Plan& plan, const std::string& destination) {
  return std::any_of(plan.destinations.begin(), plan.destinations.end(),
                     [&](const auto& each) { return each.name == destination; });
}

}  // namespace everytake
