// How long the plan's song is.
#pragma once

#include "model.h"
#include "os/fs.h"

namespace everytake::pipeline {

// Of the song at `song`. What was measured before stands in the catalogue of `shoot`, where there is one, for as long
// as the file stays as it was. `not_found` where the file is not there, `invalid` where it has no sound, else the
// disk's error or Examiner::length()'s.
Result<Micros> song_length(const Path& shoot, const Path& song);

}  // namespace everytake::pipeline
