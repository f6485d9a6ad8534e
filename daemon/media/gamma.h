// Log curves and gamuts of cameras, and how to show them on an ordinary screen.
#pragma once

#include <array>
#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace everytake::media {

using Rgb = std::array<double, 3>;
using Matrix = std::array<Rgb, 3>;  // rows

// A transfer curve. x is scene reflectance (0.18 is the grey card, 1 a white that reflects all); v is the code value
// divided by its highest (1023 for ten bits) with the whole range of codes in use. HLG and PQ count x so that 1 is
// their reference white of 203 cd/m2 (ITU-R BT.2408).
struct Curve {
  const char* name;          // as in the catalogue: "s-log3"
  double (*encode)(double);  // x to v
  double (*decode)(double);  // v to x
  const char* gamut;         // that it is mostly recorded with
  bool log;                  // v is the code itself, also where the stream says that it uses all codes
};

std::span<const Curve> curves();  // all there are

// nullptr for a gamma that has no published curve here. Knows a name by its letters and digits: "V-Log L" is "vlogl".
const Curve* curve_of(std::string_view gamma);

// Linear light of `gamut` to that of BT.709; both have white D65, so rows sum to 1. nullptr for one not known.
const Matrix* to_bt709(std::string_view gamut);

// Keeps what is below 0.6 and bends what lies above so that `white` comes to 1: rising all the way, slope 1 at 0.6.
double shoulder(double x, double white);

// From R'G'B' as a stream has it (0…1 between its black and white, beyond for what overshoots) to sRGB, 0…1. Where
// the gamma is not known the values are shown as they are.
class DisplayTransform {
 public:
  DisplayTransform(std::string_view gamma, std::string_view gamut, bool full_range);
  Rgb operator()(const Rgb& picture) const;

  // Its three steps: a channel's value to light, the light of three channels to BT.709's, each of these to what is
  // shown.
  double light(double value) const;
  const Matrix& matrix() const { return *matrix_; }
  double shown(double light) const;

 private:
  const Curve* curve_;
  const Matrix* matrix_;
  const bool codes_;  // the picture's values are v themselves
  double white_ = 1;  // x of the brightest code
};

// The same in tables, for many pixels: 8 bits a channel, at most one step from the exact value.
class DisplayTable {
 public:
  explicit DisplayTable(const DisplayTransform& exact);
  std::array<std::uint8_t, 3> operator()(const std::array<float, 3>& picture) const;

 private:
  float light(float value) const;
  std::uint8_t code(float light) const;

  std::vector<float> light_;  // of values at equal distances
  std::array<std::array<float, 3>, 3> matrix_{};
  std::array<float, 256> least_{};         // light that gives this code
  std::vector<std::uint8_t> first_guess_;  // by the upper bits of a float: a code that is not too high
};

}  // namespace everytake::media
