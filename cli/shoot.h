// The shoot a command works on.
#pragma once

#include <tl/expected.hpp>
#include <vector>

#include "catalogue/catalogue.h"
#include "cli/commands.h"
#include "model.h"
#include "pipeline/open_shoot.h"

namespace everytake::cli {

// `name` as given on the command line, from the working folder on, without "." and "..".
Path absolute_folder(const std::string& name, const Session& session);

// See find_shoot() in pipeline/open_shoot.h.
Result<Path> find_shoot(const Session& session);

// Finds the shoot and reads its plan. What is wrong was told on `err`, all of it, when this gives an exit code.
tl::expected<pipeline::Shoot, pipeline::Exit> load_shoot(Session& session);

// The same for commands that copy and judge: what is wrong with the plan elsewhere is told on `err` as a remark, and
// the work goes on. See load_shoot_for_copies() in pipeline/open_shoot.h.
tl::expected<pipeline::Shoot, pipeline::Exit> load_shoot_for_copies(Session& session);
// Tells what is wrong with a plan that copies can go on with; nothing where nothing is.
void remark_wrong(const pipeline::Shoot& shoot, Session& session);

// The shoot's catalogue; where it has none yet, an empty one in memory, so that a question makes no file. One that is
// damaged is `invalid`, and the error says what to do.
Result<std::unique_ptr<catalogue::Catalogue>> look_into_catalogue(const pipeline::Shoot& shoot);

// Everything the catalogue knows of clips, as they lie in the plan's song.
Result<std::vector<Clip>> clips_in_song(const catalogue::Reader& catalogue, const Plan& plan);

// The same with what is wrong with them beside the plan and each other.
Result<std::vector<Clip>> clips_of(const pipeline::Shoot& shoot);

// The one that is meant, as Reader::find_clip() has it, among all clips.
struct FoundClip {
  Clip clip;
  std::vector<Clip> clips;
  std::string setup;  // that it was recorded under, and which others it runs into; empty where there is none
};
Result<FoundClip> find_clip(const std::string& word, const pipeline::Shoot& shoot);

}  // namespace everytake::cli
