// The card a command was given.
#pragma once

#include <memory>
#include <string>

#include "base/fs.h"
#include "cli/commands.h"

namespace everytake::cli {

struct OpenCard {
  Path root;
  std::unique_ptr<ReadFs> fs;
  Volume volume;
};

// Opens it for reading only. `invalid` when there is no such folder, saying what to do.
Result<OpenCard> open_card(const std::string& name, const Session& session);

}  // namespace everytake::cli
