// The shoot the programs work on: which folder, its plan, its catalogue.
#pragma once

#include <memory>
#include <optional>
#include <string>
#include <tl/expected.hpp>
#include <vector>

#include "base/fs.h"
#include "model.h"

namespace everytake {

inline constexpr const char* kPlanFile = "shoot.toml";
inline constexpr const char* kCatalogueFile = "catalogue.sqlite";

struct Shoot {
  Path folder;  // absolute
  Plan plan;
  std::vector<std::string> remarks;  // what the plan names and is not there now, a sentence each
  Path catalogue() const { return folder / kCatalogueFile; }
};

// `name` from the working folder on, without "." and "..".
Path absolute_folder(const std::string& name, const Path& working_folder);

// A file's folder, opened, and its name in there. Links are followed: a person put them there.
struct LocatedFile {
  Path real;  // absolute
  std::unique_ptr<Fs> folder;
  Path name;
};
Result<LocatedFile> locate_file(const Path& file);  // `not_found` where it is not there

// How a person says which shoot is meant.
struct ShootNamed {
  std::optional<std::string> by_option;       // --shoot
  std::optional<std::string> by_environment;  // $EVERYTAKE_SHOOT
  Path working_folder;                        // absolute
};

// The shoot's folder, absolute: --shoot, else $EVERYTAKE_SHOOT, else the nearest folder upward from the working folder
// that has a shoot.toml. `not_found`, saying what to do, where there is none.
Result<Path> find_shoot(const ShootNamed& named);

// Reads the plan and measures the song. Else all that is wrong with it, a line each.
tl::expected<Shoot, std::vector<std::string>> load_shoot(const Path& folder);

}  // namespace everytake
