#include "base/rational.h"
#include "support/rooms.h"

#include <gtest/gtest.h>

namespace everytake {
namespace {

TEST(Rational, IsInLowestTermsWithAPositiveDenominator) {
  EXPECT_EQ(to_string(Rational(48000, 2002)), "24000/1001");
  EXPECT_EQ(to_string(Rational(1, -2)), "-1/2");
}

TEST(Rational, ComparesAndMultipliesExactly) {
  EXPECT_TRUE(Rational(24000, 1001) < Rational(24, 1));
  EXPECT_FALSE(Rational(24, 1) < Rational(24, 1));
  EXPECT_EQ(Rational(120000, 1001) / Rational(24000, 1001), Rational(5, 1));
}

TEST(ParseRate, TakesFractionsAndWholeNumbers) {
  EXPECT_EQ(parse_rate("24000/1001"), Rational(24000, 1001));
  EXPECT_EQ(parse_rate("25"), Rational(25, 1));
  EXPECT_EQ(parse_rate("50.00p"), Rational(50, 1));
}

// The rates as cameras print them, each k·1000/1001 (SMPTE's 1000/1001 family; common practice).
TEST(ParseRate, MapsRoundedDecimalsToTheirExactRate) {
  EXPECT_EQ(parse_rate("23.976"), Rational(24000, 1001));
  EXPECT_EQ(parse_rate("23.98p"), Rational(24000, 1001));
  EXPECT_EQ(parse_rate("29.97"), Rational(30000, 1001));
  EXPECT_EQ(parse_rate("59.94i"), Rational(60000, 1001));
  EXPECT_EQ(parse_rate("119.88p"), Rational(120000, 1001));
  EXPECT_EQ(parse_rate("239.76p"), Rational(240000, 1001));
  EXPECT_EQ(parse_rate("959.04p"), Rational(960000, 1001));
  EXPECT_EQ(parse_rate("7.49p"), Rational(7500, 1001));
}

TEST(RateText, IsWhatPeopleSay) {
  EXPECT_EQ(rate_text(Rational(24000, 1001)), "23.976");
  EXPECT_EQ(rate_text(Rational(25, 1)), "25");
  EXPECT_EQ(rate_text(Rational(30000, 1001)), "29.97");
  EXPECT_EQ(rate_text(Rational(60000, 1001)), "59.94");
  EXPECT_EQ(rate_text(Rational(120000, 1001)), "119.88");
  EXPECT_EQ(rate_text(Rational(240000, 1001)), "239.76");
}

TEST(ParseRate, RefusesWhatIsNoRate) {
  for (const char* text : {"", "0", "-25", "24/0", "fast", "25x", "1e9", "nan", "23.5", "24000/1001/1"})
    EXPECT_EQ(parse_rate(text), std::nullopt) << text;
}

}  // namespace
}  // namespace everytake
