#include "service/card_priority.h"

namespace everytake::service {
namespace {

constexpr std::chrono::minutes kPatience{1};

}  // namespace

CardPriority::Card::Card(CardPriority& turns) : turns_(turns) {
  MutexLock lock(turns_.mu_);
  ++turns_.cards_;
  if (turns_.catching_up_) turns_.catching_up_->request_stop();
  const auto end = std::chrono::steady_clock::now() + kPatience;
  while (turns_.catching_up_ && std::chrono::steady_clock::now() < end) turns_.changed_.wait_until(turns_.mu_, end);
}

CardPriority::Card::~Card() {
  MutexLock lock(turns_.mu_);
  --turns_.cards_;
}

std::optional<std::stop_token> CardPriority::begin_catching_up() {
  MutexLock lock(mu_);
  if (cards_ > 0) return std::nullopt;
  return catching_up_.emplace().get_token();
}

void CardPriority::end_catching_up() {
  MutexLock lock(mu_);
  catching_up_.reset();
  changed_.notify_all();
}

}  // namespace everytake::service
