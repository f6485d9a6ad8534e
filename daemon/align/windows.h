// Stretches of sound as spectra, for delays finer than a sample.
#pragma once

#include <optional>
#include <span>
#include <vector>

#include "align/features.h"
#include "align/fft.h"

namespace everytake::align {

inline constexpr int kWindow = 16384;           // samples: 2.048 s
inline constexpr int kWindowHop = kWindow / 2;  // samples
inline constexpr int kFirstBin = 300 * kWindow / kAlignRate, kLastBin = 3400 * kWindow / kAlignRate;

// The spectrum, bins kFirstBin … kLastBin − 1, of kWindow samples under a Hann window from the position `at` on, which
// may lie between samples. Silence outside. nullopt where there is no sound in it.
std::optional<std::vector<Bin>> spectrum_at(std::span<const float> sound, double at, RealFft& fft);

// Turns the bins of spectrum_at() into those from `samples` later on; for shifts far shorter than a window.
void shift(std::span<Bin> bins, double samples);

// Of each value and up to `around` on both sides of it, the mean; never quite 0.
std::vector<float> local_means(std::span<const float> values, std::size_t around);

// The correlation of two windows at lags far shorter than they are, from what their spectra have in common. Bins are
// summed up in groups first, over which the phase of such a lag hardly turns: that needs a shorter transform. Groups
// are taken to lie at the nearest multiple of their size, at most half a group off, which turns all of them alike.
class ShortLags {
 public:
  // Of groups of `group` bins: for lags up to kWindow / (5 · group), where a tenth of a peak is lost at most; a group
  // of one loses nothing at any lag.
  explicit ShortLags(std::size_t group) : group_(group), fft_(kWindow / group) {}
  std::size_t group() const { return group_; }
  int reach() const { return kWindow / static_cast<int>(5 * group_); }

  // Σ over each group of conj(a)·b, from kFirstBin on: cleared, to be filled in.
  std::span<Bin> clear();
  void correlate();
  // Twice the sum of the groups' real parts, turned by the lag (in samples).
  float at(int lag) {
    const int size = static_cast<int>(fft_.length());
    return fft_.time()[static_cast<std::size_t>(lag < 0 ? lag + size : lag)];
  }

 private:
  std::size_t group_;
  RealFft fft_;
};

// A clip's windows, each taken apart when it is first asked for. For one thread.
class Windows {
 public:
  // `sound` must outlive this.
  explicit Windows(std::span<const float> sound)
      : sound_(sound), fft_(kWindow), near_(4), spectra_(static_cast<std::size_t>(count() + 2)) {}

  int count() const;
  // Its first sample. Before the first and after the last window lie two more, −1 and count(), of which half is past
  // the sound's end: they hear what the others, soft at their ends, do not.
  int begin(int window) const;
  double centre(int window) const { return begin(window) + kWindow / 2.0; }
  std::size_t sound_size() const { return sound_.size(); }
  // Every bin's direction alone: its strength says more of the room than of the song. Empty where it is silent. Valid
  // until the next call.
  std::span<const Bin> directions(int window);
  RealFft& fft() { return fft_; }  // to work with between calls
  ShortLags& lags(int reach);      // the same, for lags up to `reach`

 private:
  std::span<const float> sound_;
  RealFft fft_;
  ShortLags near_;
  std::optional<ShortLags> far_;  // made when first needed
  std::vector<std::optional<std::vector<Bin>>> spectra_;
  int kept_ = 0;  // spectra; all are dropped at kMostKept, so that an hour's clip takes no more memory than a minute's
};

}  // namespace everytake::align
