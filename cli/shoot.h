// The shoot a command works on: which folder, and what is in it.
#pragma once

#include "cli/commands.h"

namespace everytake::cli {

inline constexpr const char* kPlanFile = "shoot.toml";
inline constexpr const char* kCatalogueFile = "catalogue.sqlite";

// `name` as given on the command line, from the working folder on, without "." and "..".
Path absolute_folder(const std::string& name, const Session& session);

// The shoot's folder, absolute: --shoot, else $EVERYTAKE_SHOOT, else the nearest folder upward from the working folder
// that has a shoot.toml. `not_found`, saying what to do, where there is none.
Result<Path> find_shoot(const Session& session);

}  // namespace everytake::cli
