// The card a command was given.
#pragma once

#include <memory>
#include <string>

#include "cli/commands.h"
#include "os/fs.h"
#include "pipeline/pipeline.h"

namespace everytake::cli {

struct OpenCard {
  Path root;
  std::unique_ptr<ReadFs> fs;
  Volume volume;

  // As the pipeline wants it; refers to this. `shoot` is the shoot's folder: its own filesystem is no card's.
  pipeline::Card as_card(const Path& shoot) const;
};

// Opens it for reading only. `invalid` when there is no such folder, saying what to do.
Result<OpenCard> open_card(const std::string& name, const Session& session);

}  // namespace everytake::cli
