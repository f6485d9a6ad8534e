// The song, made ready to find clips in.
#pragma once

#include <span>
#include <vector>

#include "align/features.h"
#include "align/fft.h"

namespace everytake::align {

// Constant once made; may be read on several threads. About 45 kB a second of song.
class SongIndex {
 public:
  // Of the whole song, mono at 8 kHz.
  explicit SongIndex(std::vector<float> sound);

  std::span<const float> sound() const { return sound_; }
  double seconds() const { return static_cast<double>(sound_.size()) / kAlignRate; }
  const Features& features() const { return features_; }

  // The song's features cut into pieces for correlation: piece p holds the kPiece frames from
  // p · kStep − kBefore on (silence outside), each band transformed.
  static constexpr int kPiece = 1024, kStep = 704, kBefore = kPiece - kStep;
  static constexpr int kLongestBlock = kPiece - kStep + 1;  // frames
  static constexpr std::size_t kBins = kPiece / 2 + 1;
  int pieces() const { return pieces_; }
  std::span<const Bin> piece(int p, int band) const;
  // Σ of the squares of all bands over the frames [from, to); silence outside.
  double energy(int from, int to) const;

 private:
  std::vector<float> sound_;
  Features features_;
  int pieces_ = 0;
  std::vector<Bin> spectra_;
  std::vector<double> energies_;  // running sums
};

}  // namespace everytake::align
