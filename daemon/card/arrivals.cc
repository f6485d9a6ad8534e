#include "card/arrivals.h"

#include <algorithm>

namespace everytake::card {
namespace {

constexpr std::chrono::seconds kRarest{60};  // a big folder on a slow disk takes 20 s to list

}  // namespace

Sight seen_after(std::optional<Sight> before, Listing now, SteadyTime at) {
  const bool same = before && before->listing.files == now.files && before->listing.folders == now.folders &&
                    before->listing.problems == now.problems;
  return {std::move(now), same ? before->since : at};
}

bool is_quiet(const Sight& look, SteadyTime at, SteadyLength quiet) {
  return at - look.since >= quiet;
}

bool Arrivals::ready(const std::string& child, Listing now, SteadyTime at) {
  auto& known = children_[child];
  const SteadyTime since = known.look ? known.look->since : SteadyTime::min();
  known.look = seen_after(std::move(known.look), std::move(now), at);
  if (known.look->since != since) known.said = false;
  known.seen = at;
  if (known.said || !is_quiet(*known.look, at, quiet_)) return false;
  known.said = true;
  return true;
}

void Arrivals::keep_only(const std::set<std::string>& children) {
  std::erase_if(children_, [&](const auto& entry) { return children.count(entry.first) == 0; });
}

SteadyTime Arrivals::next_look(const std::string& child, SteadyTime now) const {
  const auto it = children_.find(child);
  if (it == children_.end() || !it->second.look) return now;
  const auto age = it->second.seen - it->second.look->since;
  const auto wait = it->second.said ? std::clamp<SteadyLength>(age, quiet_, kRarest) : quiet_;
  return it->second.seen + wait;
}

bool Arrivals::is_waiting(const std::string& child) const {
  const auto it = children_.find(child);
  return it != children_.end() && !it->second.said;
}

}  // namespace everytake::card
