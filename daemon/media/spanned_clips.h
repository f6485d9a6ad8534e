// Recordings that a camera writes into several files, as a filesystem or the camera itself limits a file's size.
#pragma once

#include <optional>
#include <span>

#include "model.h"

namespace everytake::media {

// Whether `next` goes on where `first` ends. All of it must be known and hold: one roll and one camera; the next
// number after a file about as large as files get where cameras split them, or the next chapter of one number; one
// codec, depth, size and rate; a timecode that goes on by a frame; clocks that touch within 2 s. A file stays a clip of
// its own: an editor opens files.
bool continues(const Clip& first, const Clip& next);

// What `clip` goes on in, and what it goes on from, among `clips`.
std::optional<Clip> next_of(const Clip& clip, std::span<const Clip> clips);
std::optional<Clip> previous_of(const Clip& clip, std::span<const Clip> clips);

}  // namespace everytake::media
