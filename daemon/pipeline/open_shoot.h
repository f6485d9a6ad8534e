// The shoot the programs work on: which folder, its plan, its catalogue.
#pragma once

#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <tl/expected.hpp>
#include <vector>

#include "model.h"
#include "os/fs.h"

namespace everytake::pipeline {

inline constexpr const char* kPlanFile = "shoot.toml";
inline constexpr const char* kCatalogueFile = "catalogue.sqlite";

struct Shoot {
  Path folder;  // absolute
  Plan plan;
  std::vector<std::string> remarks;  // what the plan names and is not there now, a sentence each
  // What is wrong with the plan where no copy relies on it, a line each; then the plan has no song, and see kNotPlaced.
  std::vector<std::string> wrong;
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

// The same for what copies and judges cards: mistakes elsewhere than in the shoot and its destinations are told in
// `wrong`, and no reason to leave a card uncopied.
tl::expected<Shoot, std::vector<std::string>> load_shoot_for_copies(const Path& folder);
// The same of a plan that is not in the folder yet.
tl::expected<Shoot, std::vector<std::string>> shoot_for_copies(const Path& folder, std::string_view plan);

// To be said after Shoot::wrong.
inline constexpr const char* kNotPlaced =
    "copies don't rely on that and go on; clips wait to be placed in the song until the plan is mended";

}  // namespace everytake::pipeline
