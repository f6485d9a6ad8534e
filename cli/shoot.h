// The shoot a command works on: which folder, its plan, its catalogue.
#pragma once

#include <tl/expected.hpp>
#include <vector>

#include "cli/commands.h"
#include "model.h"

namespace everytake::cli {

inline constexpr const char* kPlanFile = "shoot.toml";
inline constexpr const char* kCatalogueFile = "catalogue.sqlite";

struct Shoot {
  Path folder;  // absolute
  Plan plan;
  std::vector<std::string> remarks;  // what the plan names and is not there now, a sentence each
  Path catalogue() const { return folder / kCatalogueFile; }
};

// `name` as given on the command line, from the working folder on, without "." and "..".
Path absolute_folder(const std::string& name, const Session& session);

// The shoot's folder, absolute: --shoot, else $EVERYTAKE_SHOOT, else the nearest folder upward from the working folder
// that has a shoot.toml. `not_found`, saying what to do, where there is none.
Result<Path> find_shoot(const Session& session);

// Finds the shoot and reads its plan, measuring the song. What is wrong was told on `err`, all of it, when this gives
// an exit code.
tl::expected<Shoot, Exit> load_shoot(Session& session);

// Everything the catalogue knows of clips. A shoot without a catalogue has none, and gets none by being asked.
Result<std::vector<Clip>> clips_of(const Shoot& shoot);

}  // namespace everytake::cli
