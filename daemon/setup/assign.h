// Which setup a clip was recorded under: how things are on the set is said once, and true for every clip until
// something else is said.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "setups.h"

namespace everytake::setup {

// [start, end) of a recording, by the clock that setups go by.
struct Recorded {
  Instant start{}, end{};
  Instant middle() const { return start + (end - start) / 2; }
};
// A clip that plays slowed was recorded in less time than it lasts. nullopt where the camera did not tell when it was;
// no length where that is not known.
std::optional<Recorded> recorded(const Clip& clip, std::span<const CameraClock> clocks);

// The setup that holds at a moment; nullptr before the first and after an end. `setups` in order of `at`.
const Setup* setup_at(std::span<const Setup> setups, Instant moment);

struct Assigned {
  ClipId clip;
  SetupId setup;
  std::string because;  // "setup of 14:10", and which others it runs into
};

// The setup of each clip: the one at the middle of its recording. None for clips before the first, after an end, and
// without a time of recording. `setups` in order of `at`. A pure function; the order of `clips` makes no difference to
// what each gets.
std::vector<Assigned> assign(std::span<const Setup> setups, std::span<const CameraClock> clocks,
                             std::span<const Clip> clips);

// A camera whose clips lie outside all setups, and would all lie in them if its clock were so many whole hours ahead,
// and by no other number of hours: one that was never set to summer time, or to another country's.
struct ClockDoubt {
  std::string camera;
  Micros ahead{};
  std::size_t clips = 0;  // that lie outside
};

// Of the cameras that no clock is known of. `until` is now: what is recorded later counts as outside.
std::vector<ClockDoubt> doubtful_clocks(std::span<const Setup> setups, std::span<const CameraClock> clocks,
                                        std::span<const Clip> clips, Instant until);

// "1:02:30", "-0:00:04": hours, minutes and seconds, and what is left of one where it is not whole.
std::string ahead_text(Micros ahead);
// The same. nullopt for anything else, or more than 24 hours.
std::optional<Micros> parse_ahead(std::string_view text);

}  // namespace everytake::setup
