// Sound for placing a clip in the song.
#pragma once

#include <stop_token>
#include <vector>

#include "media/sound/levels.h"
#include "os/fs.h"

namespace everytake::media {

// The first sound stream, all channels mixed evenly, at `rate_hz`. Sample 0 is heard at the clip's first picture:
// sound before it is cut, and holes are silence; from a file without picture it is the first sample. No more than half
// an hour: longer than songs are, and 58 MB at 8 kHz. The meter hears all of it.
// Empty where there is no sound. `corrupt` where none of it can be decoded, `cancelled` on `stop`, else the disk's
// error. A `meter` gets what is decoded on the way, channel by channel.
Result<std::vector<float>> decode_mono(const ReadFs& fs, const Path& path, int rate_hz, std::stop_token stop,
                                       LevelMeter* meter = nullptr);

// How long a song file is. `invalid` where it has no sound, else as above.
Result<Micros> sound_length(const ReadFs& fs, const Path& path);

}  // namespace everytake::media
