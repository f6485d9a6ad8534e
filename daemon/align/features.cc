#include "align/features.h"

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>

#include "align/fft.h"

namespace everytake::align {
namespace {

constexpr double kLowest = 160, kHighest = 3500;  // Hz: what small speakers and microphones both carry
constexpr double kWindowSeconds = 0.064;
constexpr int kNeighbours = 20;  // frames on each side: 0.8 s together
constexpr float kLimit = 2.5F;   // deviations; a slammed door shall not outvote the music
constexpr float kFloor = 1e-5F;  // of a band's mean energy; below it is silence

double edge_hz(int band) {
  return kLowest * std::pow(kHighest / kLowest, static_cast<double>(band) / kBands);
}

struct Share {
  std::size_t bin;
  float weight;
};
using Bank = std::array<std::vector<Share>, kBands>;

// Which bins make a band, those at its edges in part. A band above the sound's own has none.
Bank bank_of(std::size_t length, double pitch) {
  Bank bank;
  const double bin_hz = static_cast<double>(kAlignRate) / static_cast<double>(length);
  for (int b = 0; b < kBands; ++b) {
    const double low = edge_hz(b) * pitch, high = edge_hz(b + 1) * pitch;
    if (high > kAlignRate / 2.0) break;
    for (auto k = static_cast<std::size_t>(low / bin_hz); static_cast<double>(k) - 0.5 < high / bin_hz; ++k) {
      const double left = std::max(low, (static_cast<double>(k) - 0.5) * bin_hz);
      const double right = std::min(high, (static_cast<double>(k) + 0.5) * bin_hz);
      if (right > left) bank[static_cast<std::size_t>(b)].push_back({k, static_cast<float>((right - left) / bin_hz)});
    }
  }
  return bank;
}

void take_window(std::span<const float> sound, double centre, std::span<const float> window, std::span<float> out) {
  const auto begin = std::lround(centre) - static_cast<long>(window.size() / 2);
  const auto size = static_cast<long>(sound.size());
  std::fill(out.begin(), out.end(), 0.0F);
  for (long i = std::max(0L, -begin); i < static_cast<long>(window.size()) && begin + i < size; ++i)
    out[static_cast<std::size_t>(i)] = sound[static_cast<std::size_t>(begin + i)] * window[static_cast<std::size_t>(i)];
}

// Energies to what stands out of its neighbourhood.
void level(std::span<float> band) {
  double mean = 0;
  for (const float e : band) mean += e;
  mean /= static_cast<double>(std::max<std::size_t>(1, band.size()));
  const float floor = static_cast<float>(mean) * kFloor + 1e-20F;
  for (float& e : band) e = std::log(e + floor);
  std::vector<double> sums(band.size() + 1);
  for (std::size_t i = 0; i < band.size(); ++i) sums[i + 1] = sums[i] + band[i];
  const auto size = static_cast<long>(band.size());
  double squares = 0;
  for (long i = 0; i < size; ++i) {
    const auto from = static_cast<std::size_t>(std::max(0L, i - kNeighbours));
    const auto to = static_cast<std::size_t>(std::min(size, i + kNeighbours + 1));
    float& value = band[static_cast<std::size_t>(i)];
    value -= static_cast<float>((sums[to] - sums[from]) / static_cast<double>(to - from));
    squares += static_cast<double>(value) * value;
  }
  const auto deviation = static_cast<float>(std::sqrt(squares / static_cast<double>(std::max(1L, size))));
  const float scale = deviation > 1e-3F ? 1 / deviation : 0;
  for (float& value : band) value = std::clamp(value * scale, -kLimit, kLimit);
}

}  // namespace

Features features(std::span<const float> sound, Playback playback) {
  const double pitch = playback.pitch_moves ? playback.speed : 1;
  const double hop = kFrameSeconds * kAlignRate / playback.speed;
  std::vector<float> window(static_cast<std::size_t>(std::lround(kWindowSeconds * kAlignRate / pitch)));
  for (std::size_t i = 0; i < window.size(); ++i)
    window[i] = static_cast<float>(
        0.5 - 0.5 * std::cos(2 * M_PI * (static_cast<double>(i) + 0.5) / static_cast<double>(window.size())));
  RealFft fft(std::bit_ceil(window.size()));
  const Bank bank = bank_of(fft.length(), pitch);

  Features result;
  result.frames = static_cast<int>(static_cast<double>(sound.size()) / hop);
  const auto frames = static_cast<std::size_t>(result.frames);
  result.values.resize(kBands * frames);
  for (std::size_t f = 0; f < frames; ++f) {
    take_window(sound, static_cast<double>(f) * hop, window, fft.time());
    fft.forward();
    const auto spectrum = fft.spectrum();
    for (std::size_t b = 0; b < kBands; ++b) {
      float energy = 0;
      for (const auto& [bin, weight] : bank[b]) energy += weight * std::norm(spectrum[bin]);
      result.values[b * frames + f] = energy;
    }
  }
  for (std::size_t b = 0; b < kBands; ++b) level(std::span(result.values).subspan(b * frames, frames));
  return result;
}

}  // namespace everytake::align
