#include "align/settle.h"

#include <algorithm>
#include <cmath>
#include <optional>

namespace everytake::align {
namespace {

constexpr double kMostGap = 20;      // s; longer, and somebody has rewound the song
constexpr double kClock = 1.5;       // s by which two times of recording may be off: cameras write whole seconds
constexpr double kElsewhere = 3;     // s; a second candidate nearer than this could be meant as well
constexpr double kHeardToEnd = 4;    // s of clip at its end in which the playback need not have been found
constexpr double kSameSpeed = 1e-3;  // of two speeds

double since(Instant a, Instant b) {
  return std::chrono::duration<double>(b - a).count();
}

bool has_choice(const Clip& clip) {
  const auto& placement = clip.placement;
  return placement.by == By::rule && placement.candidates.size() > 1 && clip.facts.recorded_at && clip.facts.duration &&
         !placement.spans.empty();
}

bool can_tell(const Clip& clip) {
  const auto& placement = clip.placement;
  return placement.state == Placement::State::placed && placement.settled_by.empty() && clip.facts.recorded_at &&
         clip.facts.duration && !placement.spans.empty();
}

// How long it was shot, in seconds of the room: what was stored slowed plays longer.
double shot_for(const Clip& clip) {
  return seconds(*clip.facts.duration) / stored_slow(clip).value_or(1);
}

// Seconds of the room after its first frame in which the song was heard, of a placement at any candidate.
double heard_from(const Placement& p) {
  return (seconds(p.spans.front().start) - seconds(p.start)) / p.speed;
}
double heard_to(const Placement& p) {
  return (seconds(p.spans.back().end) - seconds(p.start)) / p.speed;
}

// Whether the playback may have run from the end of `first` into the beginning of `second`.
bool ran_on(const Clip& first, const Clip& second) {
  const double length = shot_for(first);
  const double gap = since(*first.facts.recorded_at, *second.facts.recorded_at) - length;
  return gap > -kClock && gap < kMostGap && heard_to(first.placement) > length - kHeardToEnd &&
         heard_from(second.placement) < kHeardToEnd;
}

// The candidate that lies where `neighbour` says, and no other near it.
std::optional<std::size_t> told(const Clip& clip, const Clip& neighbour) {
  const auto& there = neighbour.placement;
  const double expected =
      seconds(there.start) + there.speed * since(*neighbour.facts.recorded_at, *clip.facts.recorded_at);
  std::optional<std::size_t> choice;
  for (std::size_t i = 0; i < clip.placement.candidates.size(); ++i) {
    const double off = std::abs(seconds(clip.placement.candidates[i].start) - expected) / there.speed;
    if (off > kElsewhere) continue;
    if (choice || off > kClock) return std::nullopt;
    choice = i;
  }
  return choice;
}

// As it was before neighbours were asked.
Placement by_sound(Placement placement) {
  placement = at_candidate(std::move(placement), 0);
  placement.state = Placement::State::ambiguous;
  placement.settled_by.clear();
  return placement;
}

bool goes_before(const Clip* a, const Clip* b) {
  return *a->facts.recorded_at != *b->facts.recorded_at ? *a->facts.recorded_at < *b->facts.recorded_at : a->id < b->id;
}

Placement settled(const Clip& clip, std::span<const Clip* const> neighbours) {
  auto placement = by_sound(clip.placement);
  Clip unsettled = clip;
  unsettled.placement = placement;
  std::optional<std::size_t> choice;
  const Clip* teller = nullptr;
  for (const Clip* other : neighbours) {
    if (other->id == clip.id || other->roll != clip.roll) continue;
    if (std::abs(other->placement.speed - placement.speed) > kSameSpeed) continue;
    if (!ran_on(*other, unsettled) && !ran_on(unsettled, *other)) continue;
    const auto here = told(unsettled, *other);
    if (!here || (choice && *choice != *here)) return placement;
    choice = here;
    if (!teller) teller = other;
  }
  if (!choice) return placement;
  placement = at_candidate(std::move(placement), *choice);
  placement.state = Placement::State::placed;
  placement.settled_by = teller->roll + "/" + teller->name;
  return placement;
}

}  // namespace

std::vector<std::pair<ClipId, Placement>> settle(std::span<const Clip> clips) {
  std::vector<const Clip*> neighbours;
  for (const auto& clip : clips)
    if (can_tell(clip)) neighbours.push_back(&clip);
  std::sort(neighbours.begin(), neighbours.end(), goes_before);
  std::vector<std::pair<ClipId, Placement>> changes;
  for (const auto& clip : clips) {
    if (!has_choice(clip)) continue;
    auto placement = settled(clip, neighbours);
    if (placement.state != clip.placement.state || placement.settled_by != clip.placement.settled_by ||
        placement.start != clip.placement.start)
      changes.emplace_back(clip.id, std::move(placement));
  }
  return changes;
}

}  // namespace everytake::align
