// One process at a time has a card.
#pragma once

#include <string>
#include <utility>

#include "base/clock.h"
#include "catalogue/catalogue.h"

namespace everytake {

// This process, as others can tell whether it lives.
Holder this_process();
// Whether that very process still runs: same boot, same start time.
bool is_alive(const Holder& holder);

// Held until destroyed; a lease whose process died is taken over by the next.
class Lease {
 public:
  static Result<Lease> take(Catalogue& catalogue, const std::string& card, const Clock& clock);
  Lease(Lease&& other) noexcept : catalogue_(std::exchange(other.catalogue_, nullptr)), card_(std::move(other.card_)) {}
  ~Lease();

 private:
  Lease(Catalogue& catalogue, std::string card) : catalogue_(&catalogue), card_(std::move(card)) {}
  Catalogue* catalogue_;
  std::string card_;
};

}  // namespace everytake
