// Folders that appear in a watched folder are taken once nobody writes to them any more. The clock is an argument.
#pragma once

#include <chrono>
#include <map>
#include <optional>
#include <set>
#include <string>

#include "model.h"

namespace everytake::card {

using SteadyTime = std::chrono::steady_clock::time_point;
using SteadyLength = std::chrono::steady_clock::duration;

// How a folder looked, and since when it has looked so.
struct Sight {
  Listing listing;
  SteadyTime since;
};

// The look after `before`, now that the folder holds `now`. Names, sizes, times and problems decide.
Sight seen_after(std::optional<Sight> before, Listing now, SteadyTime at);

// Whether nothing changed for `quiet`.
bool is_quiet(const Sight& look, SteadyTime at, SteadyLength quiet);

// Which of a watched folder's children are ready to be offloaded. Not thread-safe.
class Arrivals {
 public:
  explicit Arrivals(SteadyLength quiet) : quiet_(quiet) {}

  // A look at `child`. True when it is ready: quiet, and not as it was when that was said last.
  bool ready(const std::string& child, Listing now, SteadyTime at);
  // Forgets the children that are gone: one that comes back is new.
  void keep_only(const std::set<std::string>& children);
  // When `child` is worth the next look: soon while it changes, then ever more rarely.
  SteadyTime next_look(const std::string& child, SteadyTime now) const;
  bool is_waiting(const std::string& child) const;  // seen, and not ready as it is now

 private:
  struct Child {
    std::optional<Sight> look;
    bool said = false;  // that it is ready as it looks now
    SteadyTime seen{};
  };
  const SteadyLength quiet_;
  std::map<std::string, Child> children_;
};

}  // namespace everytake::card
