#include "align/repeats.h"

#include <algorithm>
#include <cmath>

#include "align/coarse.h"

namespace everytake {
namespace {

constexpr int kFewWindows = 6, kMostWindows = 48;
constexpr std::size_t kMostPlaces = 32;
constexpr double kResembles = 0.4;  // of how well the stretch goes with itself
constexpr float kSame = 0.06F;      // of a bin's strength; below it two places are one recording (−24 dB)
constexpr int kTogether = 24;       // samples: a repeat is a copy when it stands this near to where it is expected
constexpr float kCopied = 8;        // deviations of the song's own agreement with itself
// Neighbouring bins under a Hann window, and windows that overlap by half, are not independent: their sum varies
// this many times more than that of independent ones.
constexpr double kDependence = 2.1;

// What remains of a shift, by the slope of the phase over frequency (least squares): for shifts below a sample.
double remaining_shift(const std::vector<Bin>& a, const std::vector<Bin>& b) {
  double over = 0, under = 0;
  for (std::size_t k = 0; k < a.size(); ++k) {
    const Bin c = against(a[k], b[k]);
    const double bin = static_cast<double>(k) + kFirstBin, strength = size_of(c);
    if (c.real() <= 0) continue;
    over += bin * c.imag();
    under += bin * bin * strength;
  }
  return under > 0 ? -over / under * kWindow / (2 * M_PI) : 0;
}

// Moves `b` onto `a` where it is the same recording, to a hundredth of a sample; leaves it where it is not.
void bring_together(const std::vector<Bin>& a, std::vector<Bin>& b, RealFft& fft) {
  const auto product = fft.spectrum();
  std::fill(product.begin(), product.end(), Bin{});
  for (std::size_t k = 0; k < a.size(); ++k) {
    const Bin c = against(a[k], b[k]);
    product[k + kFirstBin] = c * (1 / (size_of(c) + 1e-20F));
  }
  fft.inverse();
  const auto lags = fft.time();
  const auto at = [&](int lag) { return lags[static_cast<std::size_t>((lag + kWindow) % kWindow)]; };
  int top = 0;
  for (int lag = -kTogether; lag <= kTogether; ++lag)
    if (at(lag) > at(top)) top = lag;
  const auto noise = static_cast<float>(std::sqrt(2.0 * static_cast<double>(a.size())));
  if (at(top) < kCopied * noise) return;
  if (top != 0) shift(b, top);
  for (int round = 0; round < 3; ++round) shift(b, remaining_shift(a, b));
}

struct Tally {
  double sum = 0, squares = 0;

  // `ours` are directions; the song has `a` and `b` at the two places.
  void add(std::span<const Bin> ours, const std::vector<Bin>& a, const std::vector<Bin>& b) {
    for (std::size_t k = 0; k < ours.size(); ++k) {
      const Bin difference = a[k] - b[k];
      const float size = size_of(difference), strength = size_of(a[k]) + size_of(b[k]) + 1e-20F;
      const float weight = size / strength;
      if (weight < kSame) continue;
      sum += (ours[k].real() * difference.real() + ours[k].imag() * difference.imag()) / strength;
      squares += 0.5 * weight * weight;
    }
  }
  double deviations() const { return squares > 0 ? sum / std::sqrt(squares * kDependence) : 0; }
};

}  // namespace

std::vector<double> similar_places(const SongIndex& song, const Windows& clip, const Line& line) {
  const auto& whole = song.features();
  const double begin = line.at(clip.begin(line.first));
  const double end =
      line.at(std::min<double>(clip.begin(line.last - 1) + kWindow, static_cast<double>(clip.sound_size())));
  constexpr double kHop = kFrameSeconds * kAlignRate;
  const int from = std::clamp(static_cast<int>(std::lround(begin / kHop)), 0, whole.frames);
  const int to = std::clamp(static_cast<int>(std::lround(end / kHop)), from, whole.frames);
  Features part;
  part.frames = to - from;
  for (int b = 0; b < kBands; ++b) {
    const auto band = whole.band(b).subspan(static_cast<std::size_t>(from), static_cast<std::size_t>(part.frames));
    part.values.insert(part.values.end(), band.begin(), band.end());
  }
  std::vector<double> offsets;
  const auto places = coarse_places(song, part, kMostPlaces + 1);
  for (const auto& place : places)
    if (place.offset != from && place.weight > kResembles * places.front().weight)
      offsets.push_back(line.start + (place.offset - from) * kHop);
  return offsets;
}

const std::vector<Bin>& Contest::here(int window) {
  auto& kept = kept_[static_cast<std::size_t>(window)];
  if (kept.empty())
    kept = spectrum_at(song_.sound(), champion_.at(clip_.begin(window)), clip_.fft())
               .value_or(std::vector<Bin>(kLastBin - kFirstBin));
  return kept;
}

double Contest::against(const Line& rival, double enough) {
  const int first = std::min(champion_.first, rival.first), last = std::max(champion_.last, rival.last);
  const int count = last - first;
  Tally tally;
  // First a few windows from all over, then those between them.
  const int step = std::max(1, count / kFewWindows);
  int seen = 0;
  for (int turn = 0; turn < step; ++turn) {
    for (int w = first + turn; w < last && seen < kMostWindows; w += step) {
      const auto ours = clip_.directions(w);
      if (ours.empty()) continue;
      const auto& mine = here(w);
      auto theirs = spectrum_at(song_.sound(), rival.at(clip_.begin(w)), clip_.fft());
      ++seen;
      if (theirs) {
        bring_together(mine, *theirs, clip_.fft());
        tally.add(ours, mine, *theirs);
      } else {
        tally.add(ours, mine, std::vector<Bin>(mine.size()));
      }
    }
    if (std::abs(tally.deviations()) > 1.5 * enough || seen >= kMostWindows) break;
  }
  return tally.deviations();
}

}  // namespace everytake
