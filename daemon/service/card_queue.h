// The cards that wait for a worker, that are worked on, and how those that are still there ended.
#pragma once

#include <deque>
#include <map>
#include <optional>

#include "base/sync.h"
#include "os/fs.h"
#include "pipeline/exit_codes.h"

namespace everytake::service {

struct CardJob {
  enum class From { mount, folder };  // a mount may turn out to be no card at all
  Path root;
  From from = From::mount;
};

// Safe to use from several threads.
class CardQueue {
 public:
  explicit CardQueue(std::size_t capacity) : capacity_(capacity) {}

  // A card that waits already waits once; one that is worked on is taken again afterwards. False when there is no room
  // or the queue is closed.
  bool offer(const CardJob& job);
  // Offers all again that ended with something left to do.
  void offer_unfinished();
  // The card is not there any more.
  void forget(const Path& root);

  // Waits for a card, which is the caller's until done(). nullopt once closed.
  std::optional<CardJob> take();
  void done(const Path& root, pipeline::Exit exit);
  // In place of done() where the card could not be had: it is offered again when another one is done.
  void put_off(const Path& root, pipeline::Exit exit);

  // What waits is dropped.
  void close();
  // Waits until nothing waits or is worked on; what waits forever after close() does not.
  void wait_until_idle();
  pipeline::Exit worst() const;  // of all that ended

 private:
  enum class State { waiting, working, ended };
  struct Entry {
    CardJob job;
    State state = State::waiting;
    bool again = false;
    bool forgotten = false;
    bool put_off = false;
    std::size_t taken_at = 0;  // how many were done then
    pipeline::Exit exit = pipeline::Exit::done;
  };
  void put(const CardJob& job) REQUIRES(mu_);
  void end(const Path& root, pipeline::Exit exit) REQUIRES(mu_);
  bool is_idle() const REQUIRES(mu_);

  const std::size_t capacity_;
  mutable Mutex mu_;
  CondVar changed_;
  std::map<Path, Entry> cards_ GUARDED_BY(mu_);
  std::deque<Path> waiting_ GUARDED_BY(mu_);
  std::size_t done_ GUARDED_BY(mu_) = 0;
  pipeline::Exit worst_ GUARDED_BY(mu_) = pipeline::Exit::done;  // of those that were done
  bool closed_ GUARDED_BY(mu_) = false;
};

}  // namespace everytake::service
