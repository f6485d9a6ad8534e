#include "service/card_priority.h"

namespace everytake::service {
namespace {

constexpr std::chrono::minutes kPatience{1};

}  // namespace

CardPriority::Card::Card(CardPriority& priority) : priority_(priority) {
  MutexLock lock(priority_.mu_);
  ++priority_.cards_;
  if (priority_.catching_up_) priority_.catching_up_->request_stop();
  const auto end = std::chrono::steady_clock::now() + kPatience;
  while (priority_.catching_up_ && std::chrono::steady_clock::now() < end)
    priority_.changed_.wait_until(priority_.mu_, end);
}

CardPriority::Card::~Card() {
  MutexLock lock(priority_.mu_);
  --priority_.cards_;
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
