// How long the plan's song is.
#pragma once

#include "catalogue/catalogue.h"
#include "model.h"
#include "os/fs.h"

namespace everytake::pipeline {

// Of the song at `song`: what the catalogue of `shoot` remembers of the file as it is now, else measured. Writes
// nothing. `not_found` where the file is not there, `invalid` where it has no sound, else the disk's error or that of
// examiner::Examiner::length().
Result<Micros> song_length(const Path& shoot, const Path& song);

// Measures the song that a plan in `shoot` names, where the catalogue does not remember it as it is now, and notes it
// there. A song that can't be measured is not noted.
void remember_song_length(catalogue::Catalogue& catalogue, const Path& shoot, const Song& song);

}  // namespace everytake::pipeline
