// Which clips are wanted.
#pragma once

#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "model.h"

namespace CLI {
class App;
}

namespace everytake::cli {

// As typed.
struct FilterWords {
  std::vector<std::string> words;
  std::optional<std::string> kind, member, section, look, angle, gamma, min_rate, roll, at, rating;
  std::optional<std::int64_t> bar;
  bool problem = false;
};
void declare_filter(CLI::App& command, FilterWords& words);  // `words` outlives the command

// What it means. A clip passes when everything that is set agrees.
struct ClipFilter {
  std::vector<std::string> words;  // each in its name, note, look, angle, members, sections, roll or camera
  std::optional<Kind> kind;
  std::optional<std::string> member, section, gamma, roll;
  std::optional<std::string> look, angle;     // a part of it
  std::optional<std::pair<int, int>> rating;  // from, to
  std::optional<Rational> min_rate;           // frames a second that were captured
  std::optional<Micros> at;                   // a moment of the song: as said, or where the bar said begins
  bool problem = false;
};
// `invalid` for a kind, member, section, rate, time or bar that is none, and for a moment past the song's end.
Result<ClipFilter> filter_of(const FilterWords& words, const Plan& plan);

bool passes(const Clip& clip, const ClipFilter& filter, const Plan& plan);

}  // namespace everytake::cli
