#include "bench/copies.h"

#include <algorithm>
#include <bit>
#include <cmath>

#include "align/fft.h"
#include "support/rooms.h"

namespace everytake::bench {
namespace {

using test::Track;

constexpr double kSame = 0.995;      // correlation: a hundredth of the power is left
constexpr double kPromising = 0.85;  // at the nearest sample, before looking between samples
constexpr double kApart = 0.05;      // s
constexpr double kAsLoud = 0.5;      // of the power: a copy has nearly all of it

// Of every second sample, the sums that a correlation is made of: half the rate is enough to find the peaks.
std::vector<float> halved(const Track& track, std::size_t from, std::size_t to) {
  std::vector<float> half;
  for (std::size_t i = from; i + 1 < to; i += 2) half.push_back((track[i] + track[i + 1]) / 2);
  return half;
}

// The normalised correlation of `part` with every stretch of `whole` that lies inside it.
std::vector<float> correlations(const std::vector<float>& whole, const std::vector<float>& part) {
  RealFft fft(std::bit_ceil(whole.size() + part.size()));
  const auto fill = [&](const std::vector<float>& of) {
    std::fill(fft.time().begin(), fft.time().end(), 0.0F);
    std::copy(of.begin(), of.end(), fft.time().begin());
    fft.forward();
  };
  fill(part);
  const std::vector<Bin> kept(fft.spectrum().begin(), fft.spectrum().end());
  fill(whole);
  for (std::size_t k = 0; k < kept.size(); ++k) fft.spectrum()[k] = against(kept[k], fft.spectrum()[k]);
  fft.inverse();
  std::vector<double> sums(whole.size() + 1);
  for (std::size_t i = 0; i < whole.size(); ++i) sums[i + 1] = sums[i] + static_cast<double>(whole[i]) * whole[i];
  double power = 0;
  for (const float v : part) power += static_cast<double>(v) * v;
  std::vector<float> result(whole.size() - part.size() + 1);
  for (std::size_t i = 0; i < result.size(); ++i) {
    const double there = sums[i + part.size()] - sums[i];
    if (there < kAsLoud * power) continue;  // where the song is silent only rounding would be compared
    result[i] = static_cast<float>(fft.time()[i] / static_cast<double>(fft.length()) / std::sqrt(power * there + 1e-9));
  }
  return result;
}

// The same at one place between samples, by some thousand of the samples.
double correlation_at(const Track& song, std::size_t from, std::size_t to, double shift) {
  double both = 0, a = 0, b = 0;
  const std::size_t step = std::max<std::size_t>(7, (to - from) / 12000 | 1);
  for (std::size_t i = from; i < to; i += step) {
    const double x = song[i], y = test::track_at(song, static_cast<double>(i) + shift);
    both += x * y;
    a += x * x;
    b += y * y;
  }
  return both / std::sqrt(a * b + 1e-12);
}

}  // namespace

std::vector<double> copies_in(const Track& song, double from, double to) {
  const auto first = static_cast<std::size_t>(std::max(0.0, from) * test::kTrackRate);
  const auto last = std::min(song.size(), static_cast<std::size_t>(to * test::kTrackRate));
  if (last < first + test::kTrackRate) return {};
  const auto whole = halved(song, 0, song.size()), part = halved(song, first, last);
  const auto near = correlations(whole, part);
  std::vector<double> starts;
  for (std::size_t i = 1; i + 1 < near.size(); ++i) {
    if (near[i] < kPromising || near[i] < near[i - 1] || near[i] <= near[i + 1]) continue;
    const double shift = 2.0 * static_cast<double>(i) - static_cast<double>(first);
    if (std::abs(shift) < kApart * test::kTrackRate) continue;
    double best = 0, at = 0;
    for (double part_of = -2; part_of <= 2; part_of += 0.125)
      if (const double c = correlation_at(song, first, last, shift + part_of); c > best) {
        best = c;
        at = from + (shift + part_of) / test::kTrackRate;
      }
    if (best > kSame && (starts.empty() || at - starts.back() > kApart)) starts.push_back(at);
  }
  return starts;
}

}  // namespace everytake::bench
