// shoot.toml as a Plan.
#pragma once

#include <functional>
#include <string>
#include <string_view>
#include <tl/expected.hpp>
#include <vector>

#include "base/result.h"
#include "model.h"

namespace everytake::plan {

// Where in the text, both counted from 1.
struct TextPosition {
  int line = 1;
  int column = 1;
  auto operator<=>(const TextPosition&) const = default;
};

struct PlanError {
  TextPosition position;
  std::string message;  // what is wrong, for a person
  std::string hint;     // what to do; may be empty
};

std::string to_string(const PlanError& error);  // "shoot.toml:12:3: message (hint)"

// Measures the song. The path is as the plan has it: relative to shoot.toml.
using SongLength = std::function<Result<Micros>(const Path& song)>;

// A plan as far as it can be relied on.
struct PlanReading {
  // Whole where there are no errors. Else the shoot and its destinations alone: nothing is placed by half of a song.
  Plan plan;
  // Everything that is wrong with the text, in the order of the text; of broken TOML syntax only the first.
  std::vector<PlanError> errors;
  // Whether none of them is in what copies rely on. Where one is, `plan` is of no use.
  bool fit_for_copies = false;
};

// The song is as long as its file; where the file can't be measured, as `length` says.
PlanReading read_plan(std::string_view toml, const SongLength& song_length);

// The same for who needs all of it: a plan without errors, or the errors.
tl::expected<Plan, std::vector<PlanError>> parse_plan(std::string_view toml, const SongLength& song_length);

}  // namespace everytake::plan
