#include "plan/bars.h"

#include <cmath>

namespace everytake::plan {
namespace {

constexpr double kQuartersOfWhole = 4;

double beat_micros(const BarGrid& grid) {
  return 60e6 / grid.tempo * kQuartersOfWhole / grid.meter.unit;
}

}  // namespace

Micros BarGrid::length(std::int64_t bars) const {
  return Micros(std::llround(static_cast<double>(bars * meter.beats) * beat_micros(*this)));
}

Micros BarGrid::start_of(std::int64_t bar) const {
  return first_bar + length(bar - 1);
}

BarBeat BarGrid::at(Micros song_time) const {
  const double beat = beat_micros(*this);
  double beats = static_cast<double>((song_time - first_bar).count()) / beat;
  if (const double whole = std::round(beats); std::abs(beats - whole) * beat <= 1) beats = whole;
  const double bars = std::floor(beats / meter.beats);
  return {static_cast<std::int64_t>(bars) + 1, beats - bars * meter.beats + 1};
}

std::optional<std::int64_t> BarGrid::bar_starting_at(Micros song_time, Micros tolerance) const {
  const double bar = beat_micros(*this) * meter.beats;
  const auto nearest = std::llround(static_cast<double>((song_time - first_bar).count()) / bar) + 1;
  if (std::chrono::abs(start_of(nearest) - song_time) > tolerance) return std::nullopt;
  return nearest;
}

std::optional<BarGrid> bar_grid(const Song& song) {
  if (!song.tempo) return std::nullopt;
  return BarGrid{*song.tempo, song.meter, song.first_bar};
}

std::optional<BarRange> bars_of(const Section& section, const Song& song) {
  if (section.first_bar && section.bars) return BarRange{*section.first_bar, *section.bars};
  const auto grid = bar_grid(song);
  if (!grid) return std::nullopt;
  const auto first = grid->bar_starting_at(section.span.start, kNearBarLine);
  const auto next = grid->bar_starting_at(section.span.end, kNearBarLine);
  if (!first || !next || *next <= *first) return std::nullopt;
  return BarRange{*first, *next - *first};
}

}  // namespace everytake::plan
