#include "align/resample.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <map>

namespace everytake::align {
namespace {

constexpr int kReach = 16;     // zero crossings of the sinc on each side
constexpr int kPhases = 4096;  // places between two samples: 15 ns of jitter at 8 kHz

// The weights of the samples around a place, for each place between two samples that is asked for: a sinc under a Hann
// window. Speeds of small numbers ask for few.
class Kernels {
 public:
  explicit Kernels(double cut) : cut_(cut), half_(static_cast<int>(std::ceil(kReach / cut))) {}

  int half() const { return half_; }
  // For the samples −half + 1 … half around the whole part.
  const std::vector<float>& at(int phase) {
    auto& weights = kernels_[phase];
    if (weights.empty())
      for (int k = -half_ + 1; k <= half_; ++k)
        weights.push_back(weight((k - static_cast<double>(phase) / kPhases) * cut_));
    return weights;
  }

 private:
  float weight(double x) const {
    if (std::abs(x) >= kReach) return 0;
    const double sinc = x == 0 ? 1 : std::sin(M_PI * x) / (M_PI * x);
    return static_cast<float>(cut_ * sinc * (0.5 + 0.5 * std::cos(M_PI * x / kReach)));
  }

  const double cut_;
  const int half_;
  std::map<int, std::vector<float>> kernels_;
};

float dot(const float* a, const float* b, std::size_t count) {
  std::array<float, 8> sums{};  // independent, so that the machine may do them at once
  std::size_t i = 0;
  for (; i + sums.size() <= count; i += sums.size())
    for (std::size_t k = 0; k < sums.size(); ++k) sums[k] += a[i + k] * b[i + k];
  float sum = 0;
  for (; i < count; ++i) sum += a[i] * b[i];
  for (const float s : sums) sum += s;
  return sum;
}

}  // namespace

std::vector<float> slowed_down(std::span<const float> sound, double speed) {
  Kernels kernels(std::min(1.0, speed));
  const long half = kernels.half(), size = static_cast<long>(sound.size());
  std::vector<float> out(static_cast<std::size_t>(std::floor(static_cast<double>(size) * speed)));
  for (std::size_t n = 0; n < out.size(); ++n) {
    const long fine = std::lround(static_cast<double>(n) / speed * kPhases);
    const long whole = fine / kPhases;
    const auto& weights = kernels.at(static_cast<int>(fine % kPhases));
    const long from = std::max(0L, whole - half + 1), to = std::min(size, whole + half + 1);
    if (from < to)
      out[n] =
          dot(sound.data() + from, weights.data() + (from - (whole - half + 1)), static_cast<std::size_t>(to - from));
  }
  return out;
}

}  // namespace everytake::align
