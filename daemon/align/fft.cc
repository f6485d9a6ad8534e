#include "align/fft.h"

#include <fftw3.h>

#include <new>

#include "base/sync.h"

namespace everytake::align {
namespace {

// The library plans on one thread at a time; carrying plans out is safe on many.
Mutex& planner() {
  static Mutex mutex;
  return mutex;
}

struct FftwFree {
  void operator()(void* memory) const { fftwf_free(memory); }
};

template <class T>
std::unique_ptr<T, FftwFree> allocated(T* memory) {
  if (!memory) throw std::bad_alloc();
  return std::unique_ptr<T, FftwFree>(memory);
}

}  // namespace

struct RealFft::Plans {
  const std::unique_ptr<float, FftwFree> time;
  const std::unique_ptr<Bin, FftwFree> spectrum;
  fftwf_plan forward = nullptr, inverse = nullptr;

  explicit Plans(std::size_t length)
      : time(allocated(fftwf_alloc_real(length))),
        spectrum(allocated(reinterpret_cast<Bin*>(fftwf_alloc_complex(length / 2 + 1)))) {
    const int n = static_cast<int>(length);
    auto* bins = reinterpret_cast<fftwf_complex*>(spectrum.get());
    MutexLock lock(planner());
    // ESTIMATE measures nothing, so every run takes the same way and rounds alike.
    forward = fftwf_plan_dft_r2c_1d(n, time.get(), bins, FFTW_ESTIMATE);
    inverse = fftwf_plan_dft_c2r_1d(n, bins, time.get(), FFTW_ESTIMATE);
  }
  ~Plans() {
    MutexLock lock(planner());
    fftwf_destroy_plan(forward);
    fftwf_destroy_plan(inverse);
  }
  Plans(const Plans&) = delete;
  Plans& operator=(const Plans&) = delete;
};

RealFft::RealFft(std::size_t length) : length_(length), plans_(std::make_unique<Plans>(length)) {}
RealFft::~RealFft() = default;
RealFft::RealFft(RealFft&&) noexcept = default;
RealFft& RealFft::operator=(RealFft&&) noexcept = default;

std::span<float> RealFft::time() {
  return {plans_->time.get(), length_};
}

std::span<Bin> RealFft::spectrum() {
  return {plans_->spectrum.get(), length_ / 2 + 1};
}

void RealFft::forward() {
  fftwf_execute(plans_->forward);
}

void RealFft::inverse() {
  fftwf_execute(plans_->inverse);
}

}  // namespace everytake::align
