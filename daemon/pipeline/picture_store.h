// Clips' strips of frames as they are kept in a shoot's folder: pictures/R001-C0001-<start of the digest>.jpg.
#pragma once

#include <optional>
#include <string>

#include "model.h"
#include "os/fs.h"

namespace everytake::pipeline {

// Relative to the shoot's folder. It names the recording by its bytes, so no picture is ever taken for another clip's.
// nullopt for a clip that was never read to its end.
std::optional<Path> picture_path(const Clip& clip);

// Takes the place of what was kept there. `shoot` is rooted at the shoot's folder.
Result<void> keep_picture(Fs& shoot, const Path& path, const std::string& jpeg);

// nullopt where none is kept.
Result<std::optional<std::string>> kept_picture(const ReadFs& shoot, const Path& path);

}  // namespace everytake::pipeline
