#include "align/fft.h"

#include <fftw3.h>

#include "base/sync.h"

namespace everytake {
namespace {

// The library plans on one thread at a time; carrying plans out is safe on many.
Mutex& planner() {
  static Mutex mutex;
  return mutex;
}

}  // namespace

struct RealFft::Plans {
  float* time = nullptr;
  fftwf_complex* spectrum = nullptr;
  fftwf_plan forward = nullptr, inverse = nullptr;

  explicit Plans(int length) {
    const auto bins = static_cast<std::size_t>(length / 2 + 1);
    time = fftwf_alloc_real(static_cast<std::size_t>(length));
    spectrum = fftwf_alloc_complex(bins);
    MutexLock lock(planner());
    // ESTIMATE measures nothing, so every run takes the same way and rounds alike.
    forward = fftwf_plan_dft_r2c_1d(length, time, spectrum, FFTW_ESTIMATE);
    inverse = fftwf_plan_dft_c2r_1d(length, spectrum, time, FFTW_ESTIMATE);
  }
  ~Plans() {
    {
      MutexLock lock(planner());
      fftwf_destroy_plan(forward);
      fftwf_destroy_plan(inverse);
    }
    fftwf_free(time);
    fftwf_free(spectrum);
  }
  Plans(const Plans&) = delete;
  Plans& operator=(const Plans&) = delete;
};

RealFft::RealFft(std::size_t length) : length_(length), plans_(std::make_unique<Plans>(static_cast<int>(length))) {}
RealFft::~RealFft() = default;
RealFft::RealFft(RealFft&&) noexcept = default;
RealFft& RealFft::operator=(RealFft&&) noexcept = default;

std::span<float> RealFft::time() {
  return {plans_->time, length_};
}

std::span<Bin> RealFft::spectrum() {
  return {reinterpret_cast<Bin*>(plans_->spectrum), length_ / 2 + 1};
}

void RealFft::forward() {
  fftwf_execute(plans_->forward);
}

void RealFft::inverse() {
  fftwf_execute(plans_->inverse);
}

}  // namespace everytake
