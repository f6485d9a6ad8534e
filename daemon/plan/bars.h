// Bars and seconds.
#pragma once

#include <cstdint>
#include <optional>

#include "model.h"

namespace everytake::plan {

// Both counted from 1. What lies before the first bar is in bar 0, -1 …; `beat` may lie between two beats.
struct BarBeat {
  std::int64_t bar = 1;
  double beat = 1;
};

// Where the bars of a song with one tempo and one meter lie. `tempo` counts quarter notes a minute whatever the meter:
// at 96, a bar of 4/4 lasts 2.5 s, one of 3/4 or of 6/8 (six eighths, three quarters) 1.875 s.
struct BarGrid {
  double tempo = 120;
  Meter meter;
  Micros first_bar{};

  // Of `bars` bars, rounded once: many bars don't drift.
  Micros length(std::int64_t bars) const;
  Micros start_of(std::int64_t bar) const;
  BarBeat at(Micros song_time) const;  // a time within a microsecond of a beat is on it
  // The bar that starts within `tolerance` of a time.
  std::optional<std::int64_t> bar_starting_at(Micros song_time, Micros tolerance) const;
};

// Times that people wrote mean the bar line when they are this near to it.
inline constexpr Micros kNearBarLine = std::chrono::milliseconds(10);

// nullopt where the song has no tempo.
std::optional<BarGrid> bar_grid(const Song& song);

struct BarRange {
  std::int64_t first = 1;
  std::int64_t count = 0;
};
// The bars a section is made of; nullopt where it does not begin and end on bar lines, or the song has no tempo.
std::optional<BarRange> bars_of(const Section& section, const Song& song);

}  // namespace everytake::plan
