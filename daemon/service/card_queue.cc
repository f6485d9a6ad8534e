#include "service/card_queue.h"

#include <algorithm>

namespace everytake::service {

bool CardQueue::offer(const CardJob& job) {
  MutexLock lock(mu_);
  if (closed_ || waiting_.size() >= capacity_) return false;
  put(job);
  return true;
}

void CardQueue::offer_unfinished() {
  MutexLock lock(mu_);
  if (closed_) return;
  for (const auto& [root, entry] : cards_)
    if (entry.state == State::ended && entry.exit != pipeline::Exit::done && waiting_.size() < capacity_)
      put(entry.job);
}

void CardQueue::put(const CardJob& job) {
  auto& entry = cards_[job.root];
  const bool is_new = entry.job.root.empty();
  entry.job = job;
  entry.forgotten = false;
  if (entry.state == State::working) {
    entry.again = true;
  } else if (is_new || entry.state == State::ended) {
    entry.state = State::waiting;
    waiting_.push_back(job.root);
    changed_.notify_all();
  }
}

void CardQueue::forget(const Path& root) {
  MutexLock lock(mu_);
  const auto it = cards_.find(root);
  if (it == cards_.end()) return;
  it->second.again = false;
  it->second.forgotten = true;
  if (it->second.state == State::working) return;
  std::erase(waiting_, root);
  cards_.erase(it);
  changed_.notify_all();
}

std::optional<CardJob> CardQueue::take() {
  MutexLock lock(mu_);
  while (!closed_ && waiting_.empty()) changed_.wait(mu_);
  if (closed_) return std::nullopt;
  auto& entry = cards_.at(waiting_.front());
  waiting_.pop_front();
  entry.state = State::working;
  entry.put_off = false;
  entry.taken_at = done_;
  return entry.job;
}

void CardQueue::done(const Path& root, pipeline::Exit exit) {
  MutexLock lock(mu_);
  ++done_;
  worst_ = pipeline::worse(worst_, exit);
  end(root, exit);
  for (auto& [other, entry] : cards_)
    if (entry.put_off && entry.state == State::ended && !closed_) put(entry.job);
  changed_.notify_all();
}

void CardQueue::put_off(const Path& root, pipeline::Exit exit) {
  MutexLock lock(mu_);
  auto& entry = cards_.at(root);
  entry.put_off = true;
  entry.again |= entry.taken_at != done_;  // who had it may have been done in the meantime
  end(root, exit);
  changed_.notify_all();
}

void CardQueue::end(const Path& root, pipeline::Exit exit) {
  const auto it = cards_.find(root);
  it->second.state = State::ended;
  it->second.exit = exit;
  const bool again = std::exchange(it->second.again, false);
  if (it->second.forgotten)
    cards_.erase(it);
  else if (again && !closed_)
    put(it->second.job);
}

void CardQueue::close() {
  MutexLock lock(mu_);
  closed_ = true;
  waiting_.clear();
  changed_.notify_all();
}

bool CardQueue::is_idle() const {
  return waiting_.empty() && std::none_of(cards_.begin(), cards_.end(),
                                          [](const auto& each) { return each.second.state == State::working; });
}

void CardQueue::wait_until_idle() {
  MutexLock lock(mu_);
  while (!is_idle()) changed_.wait(mu_);
}

pipeline::Exit CardQueue::worst() const {
  MutexLock lock(mu_);
  auto worst = worst_;
  for (const auto& [root, entry] : cards_)
    if (entry.put_off) worst = pipeline::worse(worst, entry.exit);
  return worst;
}

}  // namespace everytake::service
