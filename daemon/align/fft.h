// The discrete Fourier transform of real sound. The only file that knows the library behind it is fft.cc.
#pragma once

#include <cmath>
#include <complex>
#include <cstddef>
#include <memory>
#include <span>

namespace everytake::align {

using Bin = std::complex<float>;

// The language's own product and size of complex numbers mind infinities, which take most of their time.
inline Bin times(Bin a, Bin b) {
  return {a.real() * b.real() - a.imag() * b.imag(), a.real() * b.imag() + a.imag() * b.real()};
}
// conj(a) · b
inline Bin against(Bin a, Bin b) {
  return {a.real() * b.real() + a.imag() * b.imag(), a.real() * b.imag() - a.imag() * b.real()};
}
inline float energy_of(Bin a) {
  return a.real() * a.real() + a.imag() * a.imag();
}
inline float size_of(Bin a) {
  return std::sqrt(energy_of(a));
}

// A transform of one length with buffers of its own: fill one side, call, read the other. Making one may be done on
// several threads at once; using one is for one thread. The same input gives the same output bits in every run.
class RealFft {
 public:
  explicit RealFft(std::size_t length);  // in samples, even
  ~RealFft();
  RealFft(RealFft&&) noexcept;
  RealFft& operator=(RealFft&&) noexcept;

  std::span<float> time();    // `length` samples
  std::span<Bin> spectrum();  // length / 2 + 1 bins
  void forward();             // spectrum[k] = Σ time[n] · exp(−2πi·kn / length)
  void inverse();             // time[n] = the inverse times `length`; the spectrum is lost
  std::size_t length() const { return length_; }

 private:
  struct Plans;
  std::size_t length_;
  std::unique_ptr<Plans> plans_;
};

}  // namespace everytake::align
