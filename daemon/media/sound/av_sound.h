// A recording's sound as it is decoded.
#pragma once

#include <functional>
#include <span>
#include <stop_token>

#include "media/sound/levels.h"
#include "os/fs.h"

namespace everytake::media {

// Consecutive samples, all channels mixed evenly. `at` is where the first belongs, counted in samples from the time of
// the first picture; from the first sound where there is no picture. Negative where the sound begins earlier.
using SoundSink = std::function<void(std::int64_t at, std::span<const float> samples)>;

// Decodes the first sound stream, resampled to `rate_hz`, and hands it on piece by piece, in order; where a piece does
// not begin at the end of the one before, the recording has a hole. Positions are right within half a sample.
// Hands on nothing where there is no sound. `corrupt` where nothing of it can be understood; damaged stretches are
// holes. A `meter` gets every sample of every channel as it was recorded, before mixing.
Result<void> decode_sound(const ReadFs& fs, const Path& path, int rate_hz, std::stop_token stop, const SoundSink& sink,
                          LevelMeter* meter = nullptr);

// How long the first sound stream is: by the container where that knows, else by its packets. `invalid` where there is
// none, else as above.
Result<Micros> sound_stream_length(const ReadFs& fs, const Path& path, std::stop_token stop);

}  // namespace everytake::media
