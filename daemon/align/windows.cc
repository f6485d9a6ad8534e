#include "align/windows.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <numeric>

namespace everytake::align {
namespace {

constexpr int kMostKept = 256;      // windows, of 51 kB
constexpr float kSilence = 1e-12F;  // mean square; a 24-bit recording's last bit is 1e-14

const std::vector<float>& hann() {
  static const auto window = [] {
    std::vector<float> w(kWindow);
    for (std::size_t i = 0; i < w.size(); ++i)
      w[i] = static_cast<float>(0.5 - 0.5 * std::cos(2 * M_PI * (static_cast<double>(i) + 0.5) / kWindow));
    return w;
  }();
  return window;
}

// Σ v², in as many sums as go on side by side.
float energy_of(std::span<const float> values) {
  constexpr std::size_t kSums = 16;
  std::array<float, kSums> sums{};
  std::size_t i = 0;
  for (; i + kSums <= values.size(); i += kSums)
    for (std::size_t j = 0; j < kSums; ++j) sums[j] += values[i + j] * values[i + j];
  for (; i < values.size(); ++i) sums[0] += values[i] * values[i];
  return std::accumulate(sums.begin(), sums.end(), 0.0F);
}

}  // namespace

void shift(std::span<Bin> bins, double samples) {
  const double step = 2 * M_PI * samples / kWindow;
  const double turn_re = std::cos(step), turn_im = std::sin(step);
  double re = std::cos(step * kFirstBin), im = std::sin(step * kFirstBin);
  for (auto& bin : bins) {
    bin = times(bin, {static_cast<float>(re), static_cast<float>(im)});
    const double next = re * turn_re - im * turn_im;
    im = re * turn_im + im * turn_re;
    re = next;
  }
}

std::optional<std::vector<Bin>> spectrum_at(std::span<const float> sound, double at, RealFft& fft) {
  const auto begin = static_cast<long>(std::floor(at));
  const auto size = static_cast<long>(sound.size());
  const long from = std::clamp(-begin, 0L, static_cast<long>(kWindow));
  const long to = std::clamp(size - begin, from, static_cast<long>(kWindow));
  if (from >= to) return std::nullopt;
  const auto time = fft.time();
  std::fill(time.begin(), time.begin() + from, 0.0F);
  std::fill(time.begin() + to, time.end(), 0.0F);
  const auto heard = sound.subspan(static_cast<std::size_t>(begin + from), static_cast<std::size_t>(to - from));
  if (energy_of(heard) < kSilence * kWindow) return std::nullopt;
  std::transform(heard.begin(), heard.end(), hann().begin() + from, time.begin() + from, std::multiplies<>());
  fft.forward();
  const auto bins = fft.spectrum().subspan(kFirstBin, kLastBin - kFirstBin);
  std::vector<Bin> result(bins.begin(), bins.end());
  if (const double part = at - static_cast<double>(begin); part != 0) shift(result, part);
  return result;
}

std::span<Bin> ShortLags::clear() {
  const auto bins = fft_.spectrum();
  std::fill(bins.begin(), bins.end(), Bin{});
  const double centre = kFirstBin + static_cast<double>(group_ - 1) / 2;  // of the first group
  const auto first = static_cast<std::size_t>(std::lround(centre / static_cast<double>(group_)));
  return bins.subspan(first, (kLastBin - kFirstBin + group_ - 1) / group_);
}

void ShortLags::correlate() {
  fft_.inverse();
}

std::vector<float> local_means(std::span<const float> values, std::size_t around) {
  std::vector<float> sums(values.size() + 1), means(values.size());
  for (std::size_t k = 0; k < values.size(); ++k) sums[k + 1] = sums[k] + values[k];
  for (std::size_t k = 0; k < values.size(); ++k) {
    const std::size_t from = k > around ? k - around : 0, to = std::min(values.size(), k + around + 1);
    means[k] = (sums[to] - sums[from]) / static_cast<float>(to - from) + 1e-20F;
  }
  return means;
}

int Windows::count() const {
  const int size = static_cast<int>(sound_.size());
  return size <= kWindow ? 1 : 1 + (size - kWindow + kWindowHop - 1) / kWindowHop;
}

int Windows::begin(int window) const {
  const int size = static_cast<int>(sound_.size());
  if (window < 0) return -kWindow / 2;
  if (window >= count()) return size - kWindow / 2;
  return std::max(0, std::min(window * kWindowHop, size - kWindow));
}

ShortLags& Windows::lags(int reach) {
  if (reach <= near_.reach()) return near_;
  return far_ ? *far_ : far_.emplace(1);
}

std::span<const Bin> Windows::directions(int window) {
  auto& kept = spectra_[static_cast<std::size_t>(window + 1)];
  if (kept) return *kept;
  if (++kept_ > kMostKept) {
    for (auto& each : spectra_) each.reset();
    kept_ = 1;
  }
  kept = spectrum_at(sound_, begin(window), fft_).value_or(std::vector<Bin>{});
  for (auto& bin : *kept) bin *= 1 / (size_of(bin) + 1e-20F);
  return *kept;
}

}  // namespace everytake::align
