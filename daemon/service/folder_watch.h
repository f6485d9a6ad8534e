// Watches one folder: each child folder that appears in it and holds a recording is offered once it is quiet.
#pragma once

#include <memory>
#include <stop_token>

#include "base/log.h"
#include "card/arrivals.h"
#include "os/event.h"
#include "service/card_queue.h"

namespace everytake::service {

class FolderWatch {
 public:
  // `settle`: for how long nothing in a child may change. Queue, clock and log outlive it. `not_found` when there is no
  // such folder.
  static Result<std::unique_ptr<FolderWatch>> open(const Path& folder, card::SteadyLength settle, CardQueue& cards,
                                                   const Clock& clock, Log& log);

  // Until `stop`. A folder that goes away is told once, and taken up again when it is back.
  void run(std::stop_token stop);
  // Offers what is there now and quiet. `no` when something in it is still being written to.
  pipeline::Exit run_once(std::stop_token stop);

 private:
  FolderWatch(Path folder, card::SteadyLength settle, CardQueue& cards, const Clock& clock, Log& log,
              Descriptor changes, Event stopped);

  Result<std::set<std::string>> list_children() const;
  void see_children();
  void look_at(const std::string& child, std::stop_token stop);
  Result<Listing> listing_of(const std::string& child, std::stop_token stop) const;
  void tell(const std::string& child, const std::string& what);
  card::SteadyTime next_look() const;
  void sleep_until(card::SteadyTime time) const;

  const Path folder_;
  CardQueue& cards_;
  const Clock& clock_;
  Log& log_;
  const Descriptor changes_;  // inotify
  const Event stopped_;
  card::Arrivals arrivals_;
  std::set<std::string> children_;
  std::map<std::string, std::string> told_;  // what was said last of a child; of the folder itself: ""
};

}  // namespace everytake::service
