// Cards go before catching up: who may copy when. Safe to use from several threads.
#pragma once

#include <optional>
#include <stop_token>

#include "base/sync.h"

namespace everytake::service {

class CardPriority {
 public:
  // For as long as a card is visited. Asks a catching-up to stop, and waits until it has; but no longer than a minute:
  // a disk that hangs must not keep a card waiting.
  class Card {
   public:
    explicit Card(CardPriority& priority);
    ~Card();
    Card(const Card&) = delete;
    Card& operator=(const Card&) = delete;

   private:
    CardPriority& priority_;
  };

  // Until end_catching_up(); stopped when a card comes. nullopt while one is being visited. By one thread at a time.
  std::optional<std::stop_token> begin_catching_up();
  void end_catching_up();

 private:
  Mutex mu_;
  CondVar changed_;
  int cards_ GUARDED_BY(mu_) = 0;
  std::optional<std::stop_source> catching_up_ GUARDED_BY(mu_);
};

}  // namespace everytake::service
