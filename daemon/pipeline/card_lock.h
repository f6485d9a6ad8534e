// One process at a time has a card.
#pragma once

#include <string>
#include <utility>

#include "base/clock.h"
#include "catalogue/catalogue.h"

namespace everytake::pipeline {

// This process, as others can tell whether it lives.
catalogue::Holder this_process();
// Whether it is, or was, a process of this machine: others can't be asked whether they live.
bool is_of_this_machine(const catalogue::Holder& holder);
// Whether that very process still runs: same boot, same start time. One of another machine counts as alive.
bool is_alive(const catalogue::Holder& holder);

// Held until destroyed; a lock whose process died on this machine is taken over by the next.
class CardLock {
 public:
  static Result<CardLock> take(catalogue::Catalogue& catalogue, const std::string& card, const Clock& clock);
  // The right to write what stands beside the rolls, which all cards of a shoot share: waits while another has it.
  // `busy` after a minute: it is held for moments.
  static Result<CardLock> take_notes(catalogue::Catalogue& catalogue, const Clock& clock);
  CardLock(CardLock&& other) noexcept
      : catalogue_(std::exchange(other.catalogue_, nullptr)), card_(std::move(other.card_)) {}
  ~CardLock();

 private:
  CardLock(catalogue::Catalogue& catalogue, std::string card) : catalogue_(&catalogue), card_(std::move(card)) {}
  catalogue::Catalogue* catalogue_;
  std::string card_;
};

}  // namespace everytake::pipeline
