// What stays of music after a small speaker, a room and a camera's microphone: when which band gets louder.
#pragma once

#include <span>
#include <vector>

namespace everytake::align {

inline constexpr int kAlignRate = 8000;        // Hz, of all sound in this stage
inline constexpr int kBands = 20;              // log-spaced over 160–3500 Hz
inline constexpr double kFrameSeconds = 0.02;  // of song, between two frames
inline constexpr int kFramesPerSecond = 50;

// How the song was played: `speed` song seconds pass in a second of the clip. The pitch moves with a tape or a
// resampler; a player that stretches time keeps it.
struct Playback {
  double speed = 1;
  bool pitch_moves = true;
  bool operator==(const Playback&) const = default;
};

// Band energies in decibel-like steps against their neighbourhood of 0.8 s, each band scaled to a deviation of 1 and
// cut at ±2.5. Band by band: values[band · frames + frame]; frame f is centred on song time f · 20 ms since the
// first sample.
struct Features {
  int frames = 0;
  std::vector<float> values;
  std::span<const float> band(int b) const {
    return std::span(values).subspan(static_cast<std::size_t>(b) * static_cast<std::size_t>(frames),
                                     static_cast<std::size_t>(frames));
  }
};

// Of mono sound at 8 kHz that was played back as `playback` says: as if it had been played at the song's own speed.
Features features(std::span<const float> sound, Playback playback = {});

}  // namespace everytake::align
