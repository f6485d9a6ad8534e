#include "pipeline/chosen_rolls.h"

#include <algorithm>

namespace everytake::pipeline {

Result<ChosenRolls> ChosenRolls::take(catalogue::Catalogue& catalogue, std::span<const RollId> only, WhenBusy when_busy,
                                      const Clock& clock) {
  ChosenRolls chosen;
  std::set<std::string> cards, in_other_hands;
  for (auto& roll : TRY(catalogue.rolls())) {
    if (!only.empty() && std::find(only.begin(), only.end(), roll.id) == only.end()) continue;
    if (cards.insert(roll.card).second) {
      auto lock = CardLock::take(catalogue, roll.card, clock);
      if (!lock && (lock.error().code != Code::busy || when_busy == WhenBusy::fail))
        return tl::unexpected(std::move(lock.error()));
      if (lock)
        chosen.locks_.push_back(std::move(*lock));
      else
        in_other_hands.insert(roll.card);
      if (!lock && !chosen.busy_) chosen.busy_ = std::move(lock.error());
    }
    if (in_other_hands.contains(roll.card))
      chosen.left_out_.push_back(roll.name);
    else
      chosen.rolls_.push_back(std::move(roll));
  }
  for (const auto& roll : chosen.rolls_) {
    auto files = TRY(catalogue.files_of_roll(roll.id));
    chosen.files_.insert(chosen.files_.end(), std::make_move_iterator(files.begin()),
                         std::make_move_iterator(files.end()));
  }
  return chosen;
}

Result<std::set<std::string>> rolls_in_other_hands(const catalogue::Catalogue& catalogue) {
  std::set<std::string> names;
  for (const auto& card : TRY(catalogue.cards_in_hand()))
    if (card.holder != this_process() && is_alive(card.holder)) names.insert(card.rolls.begin(), card.rolls.end());
  return names;
}

bool is_planned(const Plan& plan, const std::string& destination) {
  return std::any_of(plan.destinations.begin(), plan.destinations.end(),
                     [&](const auto& each) { return each.name == destination; });
}

}  // namespace everytake::pipeline
