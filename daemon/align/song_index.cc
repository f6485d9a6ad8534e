#include "align/song_index.h"

#include <algorithm>

namespace everytake::align {

SongIndex::SongIndex(std::vector<float> sound) : sound_(std::move(sound)), features_(align::features(sound_)) {
  const int frames = features_.frames;
  pieces_ = (frames + kBefore + kStep - 1) / kStep;
  spectra_.resize(static_cast<std::size_t>(pieces_) * kBands * kBins);
  RealFft fft(kPiece);
  auto out = spectra_.begin();
  for (int p = 0; p < pieces_; ++p)
    for (int b = 0; b < kBands; ++b) {
      const auto band = features_.band(b);
      for (int i = 0; i < kPiece; ++i) {
        const int f = p * kStep - kBefore + i;
        fft.time()[static_cast<std::size_t>(i)] = f >= 0 && f < frames ? band[static_cast<std::size_t>(f)] : 0;
      }
      fft.forward();
      out = std::copy(fft.spectrum().begin(), fft.spectrum().end(), out);
    }
  energies_.resize(static_cast<std::size_t>(frames) + 1);
  for (int f = 0; f < frames; ++f) {
    double sum = 0;
    for (int b = 0; b < kBands; ++b) {
      const double value = features_.band(b)[static_cast<std::size_t>(f)];
      sum += value * value;
    }
    energies_[static_cast<std::size_t>(f) + 1] = energies_[static_cast<std::size_t>(f)] + sum;
  }
}

std::span<const Bin> SongIndex::piece(int p, int band) const {
  return std::span(spectra_).subspan((static_cast<std::size_t>(p) * kBands + static_cast<std::size_t>(band)) * kBins,
                                     kBins);
}

double SongIndex::energy(int from, int to) const {
  const int frames = features_.frames;
  return energies_[static_cast<std::size_t>(std::clamp(to, 0, frames))] -
         energies_[static_cast<std::size_t>(std::clamp(from, 0, frames))];
}

}  // namespace everytake::align
