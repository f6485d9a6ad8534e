#include "media/gamma.h"

#include <algorithm>
#include <bit>
#include <cctype>
#include <cmath>
#include <span>

namespace everytake::media {
namespace {

using std::log10;
using std::log2;
using std::pow;

// Ten-bit video keeps picture black at code 64 and white at 940 (ITU-R BT.709).
double legal(double level) {
  return (64 + 876 * level) / 1023;
}
double level_of(double v) {
  return (v * 1023 - 64) / 876;
}

// Sony, S-Log2 Technical Paper, 2012.
double s_log2(double x) {
  const double t = x * 155 / (219 * 0.9);
  return legal(t >= 0 ? 0.432699 * log10(t + 0.037584) + 0.646596 : 5 * t + 0.030001222851889303);
}
double s_log2_inverse(double v) {
  const double y = level_of(v);
  const double t =
      y >= 0.030001222851889303 ? pow(10, (y - 0.646596) / 0.432699) - 0.037584 : (y - 0.030001222851889303) / 5;
  return t * 219 * 0.9 / 155;
}

// Sony, Technical Summary for S-Gamut3.Cine/S-Log3.
constexpr double kSLog3Cut = 171.2102946929;
double s_log3(double x) {
  return x >= 0.01125 ? (420 + 261.5 * log10((x + 0.01) / 0.19)) / 1023 : (x * (kSLog3Cut - 95) / 0.01125 + 95) / 1023;
}
double s_log3_inverse(double v) {
  const double code = v * 1023;
  return code >= kSLog3Cut ? pow(10, (code - 420) / 261.5) * 0.19 - 0.01 : (code - 95) * 0.01125 / (kSLog3Cut - 95);
}

// Panasonic, VARICAM V-Log/V-Gamut, 2014.
double v_log(double x) {
  return x < 0.01 ? 5.6 * x + 0.125 : 0.241514 * log10(x + 0.00873) + 0.598206;
}
double v_log_inverse(double v) {
  return v < 0.181 ? (v - 0.125) / 5.6 : pow(10, (v - 0.598206) / 0.241514) - 0.00873;
}

// Canon, Input Transform version 202007: these curves count reflectance divided by 0.9, mirrored below black.
double c_log(double x) {
  const double y = 0.45310179 * log10(10.1596 * std::abs(x) / 0.9 + 1);
  return 0.12512248 + std::copysign(y, x);
}
double c_log_inverse(double v) {
  const double y = v - 0.12512248;
  return std::copysign((pow(10, std::abs(y) / 0.45310179) - 1) / 10.1596 * 0.9, y);
}
double c_log2(double x) {
  const double y = 0.24136077 * log10(87.099375 * std::abs(x) / 0.9 + 1);
  return 0.092864125 + std::copysign(y, x);
}
double c_log2_inverse(double v) {
  const double y = v - 0.092864125;
  return std::copysign((pow(10, std::abs(y) / 0.24136077) - 1) / 87.099375 * 0.9, y);
}
double c_log3(double x) {
  const double l = x / 0.9;
  if (l < -0.014) return 0.12783901 - 0.36726845 * log10(1 - 14.98325 * l);
  if (l <= 0.014) return 1.9754798 * l + 0.12512219;
  return 0.36726845 * log10(14.98325 * l + 1) + 0.12240537;
}
double c_log3_inverse(double v) {
  if (v < 0.097465473) return -0.9 * (pow(10, (0.12783901 - v) / 0.36726845) - 1) / 14.98325;
  if (v <= 0.15277891) return 0.9 * (v - 0.12512219) / 1.9754798;
  return 0.9 * (pow(10, (v - 0.12240537) / 0.36726845) - 1) / 14.98325;
}

// ARRI, ALEXA Log C Curve: Usage in VFX, 2012, at exposure index 800.
double log_c3(double x) {
  return x > 0.010591 ? 0.247190 * log10(5.555556 * x + 0.052272) + 0.385537 : 5.367655 * x + 0.092809;
}
double log_c3_inverse(double v) {
  return v > 0.149658 ? (pow(10, (v - 0.385537) / 0.247190) - 0.052272) / 5.555556 : (v - 0.092809) / 5.367655;
}

// ARRI, LogC4 Logarithmic Color Space Specification, 2022.
constexpr double kC4a = (262144.0 - 16) / 117.45, kC4b = 928.0 / 1023, kC4c = 95.0 / 1023, kC4t = -0.0180569961;
double log_c4_slope() {
  return 7 * std::log(2.0) * pow(2, 7 - 14 * kC4c / kC4b) / (kC4a * kC4b);
}
double log_c4(double x) {
  return x >= kC4t ? (log2(kC4a * x + 64) - 6) / 14 * kC4b + kC4c : (x - kC4t) / log_c4_slope();
}
double log_c4_inverse(double v) {
  return v >= 0 ? (pow(2, 14 * (v - kC4c) / kC4b + 6) - 64) / kC4a : v * log_c4_slope() + kC4t;
}

// Fujifilm, F-Log Data Sheet 1.1 and F-Log2 Data Sheet 1.0.
double f_log(double x) {
  return x < 0.00089 ? 8.735631 * x + 0.092864 : 0.344676 * log10(0.555556 * x + 0.009468) + 0.790453;
}
double f_log_inverse(double v) {
  return v < 0.100537775223865 ? (v - 0.092864) / 8.735631 : (pow(10, (v - 0.790453) / 0.344676) - 0.009468) / 0.555556;
}
double f_log2(double x) {
  return x < 0.000889 ? 8.799461 * x + 0.092864 : 0.245281 * log10(5.555556 * x + 0.064829) + 0.384316;
}
double f_log2_inverse(double v) {
  return v < 0.100686685370811 ? (v - 0.092864) / 8.799461 : (pow(10, (v - 0.384316) / 0.245281) - 0.064829) / 5.555556;
}

// Nikon, N-Log Specification 1.0.0.
double n_log(double x) {
  return x < 0.328 ? 650.0 / 1023 * std::cbrt(x + 0.0075) : 150.0 / 1023 * std::log(x) + 619.0 / 1023;
}
double n_log_inverse(double v) {
  return v < 452.0 / 1023 ? pow(v * 1023 / 650, 3) - 0.0075 : std::exp((v * 1023 - 619) / 150);
}

// DJI, White Paper on D-Log and D-Gamut, 2017.
double d_log(double x) {
  return x <= 0.0078 ? 6.025 * x + 0.0929 : 0.256663 * log10(0.9892 * x + 0.0108) + 0.584555;
}
double d_log_inverse(double v) {
  return v <= 0.14 ? (v - 0.0929) / 6.025 : (pow(10, 3.89616 * v - 2.27752) - 0.0108) / 0.9892;
}

// Apple, Log Profile White Paper, 2023.
constexpr double kAppleFoot = -0.05641088, kAppleCut = 47.28711236 * (0.01 + 0.05641088) * (0.01 + 0.05641088);
double apple_log(double x) {
  if (x >= 0.01) return 0.08550479 * log2(x + 0.00964052) + 0.69336945;
  return x >= kAppleFoot ? 47.28711236 * (x - kAppleFoot) * (x - kAppleFoot) : 0;
}
double apple_log_inverse(double v) {
  if (v >= kAppleCut) return pow(2, (v - 0.69336945) / 0.08550479) - 0.00964052;
  return v >= 0 ? std::sqrt(v / 47.28711236) + kAppleFoot : kAppleFoot;
}

// ITU-R BT.709, mirrored below black.
double bt709(double x) {
  const double size = std::abs(x);
  return legal(std::copysign(size < 0.018 ? 4.5 * size : 1.099 * pow(size, 0.45) - 0.099, x));
}
double bt709_inverse(double v) {
  const double y = level_of(v), size = std::abs(y);
  return std::copysign(size < 4.5 * 0.018 ? size / 4.5 : pow((size + 0.099) / 1.099, 1 / 0.45), y);
}

// ITU-R BT.2100, HLG. The signal 0.75 is reference white.
constexpr double kHlgA = 0.17883277, kHlgB = 1 - 4 * kHlgA, kHlgWhite = 0.264963;
double hlg_c() {
  return 0.5 - kHlgA * std::log(4 * kHlgA);
}
double hlg(double x) {
  const double e = std::max(0.0, x * kHlgWhite);
  return legal(e <= 1.0 / 12 ? std::sqrt(3 * e) : kHlgA * std::log(12 * e - kHlgB) + hlg_c());
}
double hlg_inverse(double v) {
  const double y = std::max(0.0, level_of(v));
  return (y <= 0.5 ? y * y / 3 : (std::exp((y - hlg_c()) / kHlgA) + kHlgB) / 12) / kHlgWhite;
}

// SMPTE ST 2084 and ITU-R BT.2100, PQ, for light of 203 cd/m2 times x.
constexpr double kM1 = 2610.0 / 16384, kM2 = 2523.0 / 32, kC1 = 3424.0 / 4096, kC2 = 2413.0 / 128, kC3 = 2392.0 / 128;
double pq(double x) {
  const double y = pow(std::max(0.0, x) * 203 / 10000, kM1);
  return legal(pow((kC1 + kC2 * y) / (1 + kC3 * y), kM2));
}
double pq_inverse(double v) {
  const double p = pow(std::clamp(level_of(v), 0.0, 1.0), 1 / kM2);
  return pow(std::max(0.0, p - kC1) / (kC2 - kC3 * p), 1 / kM1) * 10000 / 203;
}

constexpr Curve kCurves[] = {
    {"s-log2", s_log2, s_log2_inverse, "s-gamut", true},
    {"s-log3", s_log3, s_log3_inverse, "s-gamut3", true},
    {"s-log3-cine", s_log3, s_log3_inverse, "s-gamut3-cine", true},
    {"v-log", v_log, v_log_inverse, "v-gamut", true},
    {"v-log-l", v_log, v_log_inverse, "v-gamut", true},
    {"c-log", c_log, c_log_inverse, "rec709", true},
    {"c-log2", c_log2, c_log2_inverse, "cinema-gamut", true},
    {"c-log3", c_log3, c_log3_inverse, "cinema-gamut", true},
    {"log-c3", log_c3, log_c3_inverse, "awg3", true},
    {"log-c4", log_c4, log_c4_inverse, "awg4", true},
    {"f-log", f_log, f_log_inverse, "f-gamut", true},
    {"f-log2", f_log2, f_log2_inverse, "f-gamut", true},
    {"n-log", n_log, n_log_inverse, "n-gamut", true},
    {"d-log", d_log, d_log_inverse, "d-gamut", true},
    {"apple-log", apple_log, apple_log_inverse, "rec2020", true},
    {"rec709", bt709, bt709_inverse, "rec709", false},
    {"hlg", hlg, hlg_inverse, "rec2020", false},
    {"rec2100-hlg", hlg, hlg_inverse, "rec2020", false},
    {"pq", pq, pq_inverse, "rec2020", false},
};

// Computed from the published primaries and D65 (x 0.3127, y 0.3290).
constexpr Matrix kBt709 = {{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}};
constexpr Matrix kBt2020 = {
    {{1.660491, -0.587641, -0.072850}, {-0.124550, 1.132900, -0.008349}, {-0.018151, -0.100579, 1.118730}}};
constexpr Matrix kSGamut3 = {
    {{1.877915, -0.794169, -0.083746}, {-0.176807, 1.351000, -0.174193}, {-0.026201, -0.148422, 1.174623}}};
constexpr Matrix kSGamut3Cine = {
    {{1.626947, -0.540139, -0.086809}, {-0.178516, 1.417941, -0.239425}, {-0.044436, -0.195920, 1.240356}}};
constexpr Matrix kVGamut = {
    {{1.806576, -0.695697, -0.110879}, {-0.170090, 1.305955, -0.135865}, {-0.025206, -0.154468, 1.179674}}};
constexpr Matrix kCinemaGamut = {
    {{1.923861, -0.798761, -0.125101}, {-0.204311, 1.495899, -0.291588}, {-0.023685, -0.420127, 1.443812}}};
constexpr Matrix kAwg3 = {
    {{1.617523, -0.537287, -0.080237}, {-0.070573, 1.334613, -0.264040}, {-0.021102, -0.226954, 1.248056}}};
constexpr Matrix kAwg4 = {
    {{1.893123, -0.780882, -0.112242}, {-0.205700, 1.340257, -0.134557}, {-0.012706, -0.152185, 1.164891}}};
constexpr Matrix kDGamut = {
    {{1.674723, -0.579789, -0.094934}, {-0.098088, 1.333984, -0.235896}, {-0.040967, -0.242984, 1.283951}}};
constexpr Matrix kP3D65 = {{{1.224940, -0.224940, 0}, {-0.042057, 1.042057, 0}, {-0.019638, -0.078636, 1.098274}}};

struct Gamut {
  const char* name;
  const Matrix& matrix;
};
constexpr Gamut kGamuts[] = {
    {"rec709", kBt709},
    {"bt709", kBt709},
    {"rec2020", kBt2020},
    {"bt2020", kBt2020},
    {"f-gamut", kBt2020},
    {"n-gamut", kBt2020},
    {"s-gamut", kSGamut3},
    {"s-gamut3", kSGamut3},
    {"s-gamut3-cine", kSGamut3Cine},
    {"v-gamut", kVGamut},
    {"cinema-gamut", kCinemaGamut},
    {"awg3", kAwg3},
    {"awg4", kAwg4},
    {"d-gamut", kDGamut},
    {"p3-d65", kP3D65},
};

std::string letters(std::string_view name) {
  std::string kept;
  for (const unsigned char c : name)
    if (std::isalnum(c)) kept += static_cast<char>(std::tolower(c));
  return kept;
}

template <class Row>
const Row* named(std::span<const Row> rows, std::string_view name) {
  const auto wanted = letters(name);
  const auto found =
      std::find_if(rows.begin(), rows.end(), [&](const Row& row) { return letters(row.name) == wanted; });
  return found == rows.end() ? nullptr : &*found;
}

// IEC 61966-2-1: linear light to display value, both 0…1.
double srgb(double x) {
  return x <= 0.0031308 ? 12.92 * x : 1.055 * pow(x, 1 / 2.4) - 0.055;
}

}  // namespace

std::span<const Curve> curves() {
  return kCurves;
}

const Curve* curve_of(std::string_view gamma) {
  return named<Curve>(kCurves, gamma);
}

const Matrix* to_bt709(std::string_view gamut) {
  const auto* found = named<Gamut>(kGamuts, gamut);
  return found ? &found->matrix : nullptr;
}

double shoulder(double x, double white) {
  constexpr double kBend = 0.6, kRoom = 1 - kBend;
  if (x <= kBend) return x;
  const double top = std::max(1.0, (white - kBend) / kRoom);  // where the curve reaches 1
  const double u = std::min((x - kBend) / kRoom, top);
  return kBend + kRoom * u * (1 + u / (top * top)) / (1 + u);
}

DisplayTransform::DisplayTransform(std::string_view gamma, std::string_view gamut, bool full_range)
    : curve_(curve_of(gamma)), matrix_(&kBt709), codes_(curve_ && curve_->log && full_range) {
  if (!curve_) return;
  if (const auto* named = to_bt709(gamut))
    matrix_ = named;
  else if (const auto* usual = to_bt709(curve_->gamut))
    matrix_ = usual;
  white_ = curve_->decode(curve_->log ? 1 : legal(1));
}

double DisplayTransform::light(double value) const {
  return curve_ ? curve_->decode(codes_ ? value : legal(value)) : value;
}

double DisplayTransform::shown(double light) const {
  const double x = std::max(0.0, light);
  return std::clamp(curve_ ? srgb(shoulder(x, white_)) : x, 0.0, 1.0);
}

Rgb DisplayTransform::operator()(const Rgb& picture) const {
  Rgb lights{}, result{};
  for (std::size_t i = 0; i < 3; ++i) lights[i] = light(picture[i]);
  for (std::size_t i = 0; i < 3; ++i) {
    const auto& row = (*matrix_)[i];
    result[i] = shown(row[0] * lights[0] + row[1] * lights[1] + row[2] * lights[2]);
  }
  return result;
}

namespace {

// Colour differences at their limits bring R'G'B' to -1 and 2.
constexpr float kLowest = -1, kHighest = 2;
constexpr int kStepsAUnit = 4096;
constexpr int kGuessShift = 16;  // 8 bits of exponent and 7 of mantissa remain

}  // namespace

DisplayTable::DisplayTable(const DisplayTransform& exact) {
  constexpr int kSteps = static_cast<int>(kHighest - kLowest) * kStepsAUnit;
  for (int i = 0; i <= kSteps; ++i)
    light_.push_back(static_cast<float>(exact.light(static_cast<double>(i) / kStepsAUnit + kLowest)));
  for (std::size_t i = 0; i < 3; ++i)
    for (std::size_t k = 0; k < 3; ++k) matrix_[i][k] = static_cast<float>(exact.matrix()[i][k]);
  // Where a code begins, found by halving: what is shown rises with the light.
  for (std::size_t k = 1; k < least_.size(); ++k) {
    double below = 0, above = 1e6;
    for (int round = 0; round < 60; ++round) {
      const double middle = (below + above) / 2;
      (exact.shown(middle) * 255 < static_cast<double>(k) - 0.5 ? below : above) = middle;
    }
    least_[k] = static_cast<float>(above);
  }
  constexpr std::uint32_t kPositive = 0x7F800000U >> kGuessShift;  // below infinity
  std::size_t code = 0;
  for (std::uint32_t upper = 0; upper <= kPositive; ++upper) {
    const auto lowest = std::bit_cast<float>(upper << kGuessShift);
    while (code + 1 < least_.size() && lowest >= least_[code + 1]) ++code;
    first_guess_.push_back(static_cast<std::uint8_t>(code));
  }
}

float DisplayTable::light(float value) const {
  const float at = (std::clamp(value, kLowest, kHighest) - kLowest) * kStepsAUnit;
  const auto below = std::min(static_cast<std::size_t>(at), light_.size() - 2);
  return light_[below] + (at - static_cast<float>(below)) * (light_[below + 1] - light_[below]);
}

std::uint8_t DisplayTable::code(float light) const {
  if (!(light > 0)) return 0;
  std::size_t code =
      first_guess_[std::min<std::size_t>(std::bit_cast<std::uint32_t>(light) >> kGuessShift, first_guess_.size() - 1)];
  while (code < 255 && light >= least_[code + 1]) ++code;
  return static_cast<std::uint8_t>(code);
}

std::array<std::uint8_t, 3> DisplayTable::operator()(const std::array<float, 3>& picture) const {
  const float r = light(picture[0]), g = light(picture[1]), b = light(picture[2]);
  const auto shown = [&](const std::array<float, 3>& row) { return code(row[0] * r + row[1] * g + row[2] * b); };
  return {shown(matrix_[0]), shown(matrix_[1]), shown(matrix_[2])};
}

}  // namespace everytake::media
