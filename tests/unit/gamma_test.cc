#include "media/gamma.h"
#include "support/rooms.h"

#include <gtest/gtest.h>

#include <cmath>
#include <cstdlib>
#include <string>
#include <vector>

namespace everytake {
namespace {

// Ten-bit codes of neutral patches of 0, 18, 90 and 100 % reflectance, and the reflectance at code 1023. From the
// makers' documents named in gamma.cc, where those print a table; the rest computed apart from their formulas.
struct Patches {
  const char* gamma;
  double black, grey, white, full, brightest;
};
constexpr Patches kPatches[] = {
    {"s-log2", 90, 347, 582, 598.6, 13.76},
    {"s-log3", 95, 420, 598, 609.7, 38.42},
    {"v-log", 128, 433, 602, 612.9, 46.09},
    {"c-log", 128, 351.3, 613.6, 633.0, 7.47},
    {"c-log2", 95, 407.4, 575.2, 586.4, 59.24},
    {"c-log3", 128, 351.3, 577.5, 593.6, 14.67},
    {"log-c3", 94.9, 400.0, 572.3, 583.8, 55.08},
    {"log-c4", 95, 284.8, 427.6, 437.4, 469.8},
    {"f-log", 95, 470, 705, 721.2, 7.28},
    {"f-log2", 95, 400, 570, 581.3, 58.25},
    {"n-log", 127.2, 372.0, 603.2, 619.0, 14.78},
    {"d-log", 95.0, 407.9, 586.1, 598.0, 42.00},
    {"apple-log", 153.9, 499.5, 697.4, 710.5, 12.00},
    {"rec709", 64, 422.3, 895.4, 940, NAN},
};
// Makers print whole codes; what was computed has one decimal.
double slack(double code) {
  return code == std::round(code) ? 0.55 : 0.1;
}
constexpr const char* kAllCurves[] = {"s-log2", "s-log3",    "s-log3-cine", "v-log", "c-log",  "c-log2",
                                      "c-log3", "log-c3",    "log-c4",      "f-log", "f-log2", "n-log",
                                      "d-log",  "apple-log", "rec709",      "hlg",   "pq"};

TEST(Curves, GiveTheCodesOfTheMakersTables) {
  for (const auto& patch : kPatches) {
    const Curve* curve = curve_of(patch.gamma);
    ASSERT_TRUE(curve) << patch.gamma;
    EXPECT_NEAR(curve->encode(0) * 1023, patch.black, slack(patch.black)) << patch.gamma;
    EXPECT_NEAR(curve->encode(0.18) * 1023, patch.grey, slack(patch.grey)) << patch.gamma;
    EXPECT_NEAR(curve->encode(0.9) * 1023, patch.white, slack(patch.white)) << patch.gamma;
    EXPECT_NEAR(curve->encode(1) * 1023, patch.full, slack(patch.full)) << patch.gamma;
    if (std::isnan(patch.brightest)) continue;
    EXPECT_NEAR(curve->decode(1), patch.brightest, patch.brightest * 0.001) << patch.gamma;
  }
}

// The grey card's exact v, six digits, by the makers' formulas worked out apart.
TEST(Curves, AgreeOnTheGreyCardToSixDigits) {
  struct Grey {
    const char* gamma;
    double v;
  };
  for (const auto& [gamma, v] : {Grey{"s-log2", 0.339533},
                                 {"s-log3", 0.410557},
                                 {"v-log", 0.423311},
                                 {"c-log", 0.343390},
                                 {"c-log2", 0.398255},
                                 {"c-log3", 0.343389},
                                 {"log-c3", 0.391007},
                                 {"log-c4", 0.278396},
                                 {"f-log", 0.459318},
                                 {"f-log2", 0.391007},
                                 {"n-log", 0.363668},
                                 {"d-log", 0.398765},
                                 {"apple-log", 0.488272}})
    EXPECT_NEAR(curve_of(gamma)->encode(0.18), v, 1.5e-6) << gamma;
}

// ITU-R BT.2100 and BT.2408: signal levels and light.
TEST(Curves, GiveTheLevelsOfHlgAndPq) {
  const auto hlg = [](double e) { return curve_of("hlg")->encode(e / 0.264963) * 1023; };
  EXPECT_NEAR(hlg(1.0 / 12), 502, 0.1);
  EXPECT_NEAR(hlg(0.18), 653.0, 0.1);
  EXPECT_NEAR(hlg(0.264963), 721, 0.1);
  EXPECT_NEAR(hlg(1), 940, 0.1);
  const auto pq = [](double cd) { return curve_of("pq")->encode(cd / 203) * 1023; };
  EXPECT_NEAR(pq(0.1), 118.6, 0.1);
  EXPECT_NEAR(pq(10), 326.5, 0.1);
  EXPECT_NEAR(pq(100), 509.1, 0.1);
  EXPECT_NEAR(pq(203), 572.7, 0.1);
  EXPECT_NEAR(pq(1000), 722.6, 0.1);
  EXPECT_NEAR(pq(10000), 940, 0.1);
}

TEST(Curves, ComeBackFromEveryCodeAndAlwaysRise) {
  for (const char* name : kAllCurves) {
    const Curve& curve = *curve_of(name);
    // BT.709's printed constants leave a step of 0.3 codes where its two parts meet.
    const double slack = name != std::string("rec709") ? 0.1 : 0.3;
    double before = -INFINITY;
    for (int code = 64; code <= 940; ++code) {
      const double x = curve.decode(code / 1023.0);
      ASSERT_TRUE(std::isfinite(x)) << name << " " << code;
      EXPECT_GE(x, before) << name << " " << code;
      EXPECT_NEAR(curve.encode(x) * 1023, code, slack) << name << " " << code;
      before = x;
    }
  }
}

TEST(Gamuts, LeaveGreyGrey) {
  for (const char* name : {"rec709", "rec2020", "f-gamut", "n-gamut", "s-gamut", "s-gamut3", "s-gamut3-cine", "v-gamut",
                           "cinema-gamut", "awg3", "awg4", "d-gamut", "p3-d65"}) {
    const Matrix* matrix = to_bt709(name);
    ASSERT_TRUE(matrix) << name;
    for (const auto& row : *matrix) EXPECT_NEAR(row[0] + row[1] + row[2], 1, 3e-6) << name;
  }
}

TEST(Shoulder, KeepsTheMiddleAndBringsTheBrightestToOne) {
  EXPECT_EQ(shoulder(0.18, 38.42), 0.18);
  EXPECT_EQ(shoulder(0.6, 38.42), 0.6);
  EXPECT_NEAR((shoulder(0.6001, 38.42) - 0.6) / 0.0001, 1, 0.001);
  EXPECT_NEAR(shoulder(38.42, 38.42), 1, 1e-12);
  EXPECT_NEAR(shoulder(0.9, 1), 0.9, 1e-12);
  for (double x = 0.6; x < 40; x += 0.1) EXPECT_GT(shoulder(x + 0.1, 41), shoulder(x, 41));
}

// IEC 61966-2-1: 18 % of white is code 118 of 255.
TEST(DisplayTransform, PutsTheGreyCardOfEveryCurveOnTheSameGrey) {
  for (const char* name : kAllCurves) {
    const Curve& curve = *curve_of(name);
    const double level = (curve.encode(0.18) * 1023 - 64) / 876;
    const Rgb shown = DisplayTransform(name, "", false)({level, level, level});
    for (const double value : shown) EXPECT_NEAR(value * 255, 118, 1) << name;
    if (!curve.log) continue;
    const double v = curve.encode(0.18);
    EXPECT_NEAR(DisplayTransform(name, "", true)({v, v, v})[1] * 255, 118, 1) << name;
  }
}

TEST(DisplayTransform, KeepsBlackAndStaysInRangeForEveryCode) {
  for (const char* name : kAllCurves) {
    const DisplayTransform transform(name, "", false);
    const double black = (curve_of(name)->encode(0) * 1023 - 64) / 876;
    EXPECT_NEAR(transform({black, black, black})[0] * 255, 0, 0.5) << name;
    double before = -1;
    for (int code = 0; code <= 1023; ++code) {
      const double level = (code - 64) / 876.0;
      const Rgb shown = transform({level, level, level});
      EXPECT_TRUE(shown[0] >= before - 1e-6 && shown[0] <= 1) << name << " " << code;
      EXPECT_NEAR(shown[0], shown[2], 1e-4) << name << " " << code;
      before = shown[0];
    }
  }
}

TEST(DisplayTransform, LeavesAnUnknownGammaAsItIs) {
  const Rgb shown = DisplayTransform("d-log-m", "", false)({0.2, 0.5, 1.2});
  EXPECT_EQ(shown, (Rgb{0.2, 0.5, 1}));
}

// In 8 bits, for values from below black to above white, grey and coloured.
TEST(DisplayTable, IsAtMostOneStepFromTheExactValue) {
  std::vector<const char*> names(std::begin(kAllCurves), std::end(kAllCurves));
  names.push_back("d-log-m");  // shown as it is
  for (const char* name : names)
    for (const bool full : {false, true}) {
      const DisplayTransform exact(name, "", full);
      const DisplayTable table(exact);
      int worst = 0;
      for (float r = -0.3F; r < 1.3F; r += 0.0371F)
        for (float g = -0.3F; g < 1.3F; g += 0.0413F)
          for (float b = -0.3F; b < 1.3F; b += 0.0593F) {
            const auto fast = table({r, g, b});
            const Rgb slow = exact({r, g, b});
            for (std::size_t i = 0; i < 3; ++i)
              worst =
                  std::max(worst, std::abs(static_cast<int>(fast[i]) - static_cast<int>(std::lround(slow[i] * 255))));
          }
      EXPECT_LE(worst, 1) << name << " " << full;
    }
}

}  // namespace
}  // namespace everytake
