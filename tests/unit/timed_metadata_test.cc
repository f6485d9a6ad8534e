#include "media/metadata/timed_metadata.h"

#include <gtest/gtest.h>

#include "support/media_boxes.h"
#include "support/rooms.h"

namespace everytake {
namespace {

using namespace test;

TEST(TimedMetadata, KnowsEveryCurveItHasALabelFor) {
  const std::pair<std::uint32_t, const char*> curves[] = {
      {0x01010501, "s-log"},       {0x01010508, "s-log2"}, {0x01010604, "s-log3"},      {0x01010605, "s-log3-cine"},
      {0x01010606, "rec2020"},     {0x01010607, "pq"},     {0x01010608, "hlg"},         {0x01010705, "s-cinetone"},
      {0x010B0000, "rec2100-hlg"}, {0x01020000, "rec709"}, {0x01080000, "rec709-xvycc"}};
  for (const auto& [end, gamma] : curves)
    EXPECT_EQ(read_timed_metadata(timed_sample({{0x3210, label(end)}})).gamma, gamma);
  EXPECT_EQ(read_timed_metadata(timed_sample({{0x3210, label(0x7F7F7F7F)}})).gamma, std::nullopt);
}

TEST(TimedMetadata, EndsWhereTheBytesMakeNoSense) {
  const auto whole = timed_sample({{0x8106, big(120000, 4) + big(1001, 4)}, {0x3210, label(0x01010605)}});
  for (std::size_t length = 0; length < whole.size(); ++length)
    EXPECT_EQ(read_timed_metadata(std::string_view(whole).substr(0, length)).gamma, std::nullopt);
  EXPECT_EQ(read_timed_metadata(timed_sample({{0x8106, big(0, 8)}})).capture_rate, std::nullopt);
  EXPECT_EQ(read_timed_metadata(std::string(5000, '\xFF')).capture_rate, std::nullopt);
}

TEST(TimedMetadata, TellsHowTheFirstFrameWasExposed) {
  const auto claim = read_timed_metadata(
      timed_sample({{0x8109, big(1, 4) + big(50, 4)}, {0x810B, big(12800, 2)}, {0x810E, big(5600, 2)}}));
  EXPECT_EQ(claim.shutter, Rational(1, 50));
  EXPECT_EQ(claim.iso, 12800);
  EXPECT_EQ(claim.white_balance, 5600);
  // Common practice: a shutter of 180 degrees opens for half of a frame's time.
  const auto angle = read_timed_metadata(timed_sample({{0x8108, big(180 * 60, 4)}, {0x8106, big(25, 4) + big(1, 4)}}));
  EXPECT_EQ(angle.shutter, Rational(1, 50));
  EXPECT_EQ(read_timed_metadata(timed_sample({{0x8108, big(180 * 60, 4)}})).shutter, std::nullopt);
  EXPECT_EQ(read_timed_metadata(timed_sample({{0x810B, big(65535, 2)}})).iso, std::nullopt);  // that, or more
  const auto none = read_timed_metadata(timed_sample({{0x8109, big(0, 8)}, {0x810B, big(0, 2)}, {0x810E, "x"}}));
  EXPECT_FALSE(none.shutter || none.iso || none.white_balance);
}

TEST(TimedMetadata, KnowsAnotherMakersLabels) {
  const auto label = [](std::uint64_t end) { return std::string(8, '\x06') + big(end, 8); };
  const std::pair<std::uint64_t, const char*> curves[] = {{0x0E15000101000000, "c-log"},
                                                          {0x0E15000102000000, "c-log2"},
                                                          {0x0E15000107000000, "c-log3"},
                                                          {0x04010101010A0000, "pq"},
                                                          {0x04010101010B0000, "hlg"}};
  for (const auto& [end, gamma] : curves)
    EXPECT_EQ(read_timed_metadata(timed_sample({{0xE211, label(end)}})).gamma, gamma);
  EXPECT_EQ(read_timed_metadata(timed_sample({{0xE212, label(0x0E15000202000000)}})).gamut, "cinema-gamut");
}

TEST(TimedMetadata, ReadsEveryFormOfALength) {
  const std::vector<Item> gamma{{0x3210, label(0x01010605)}};
  for (const int more : {0, 1, 2, 3, 4, 8})
    EXPECT_EQ(read_acquisition_sets(camera_set(gamma, more)).gamma, "s-log3-cine") << more;
  auto unsaid = camera_set(gamma, 0);
  unsaid[16] = '\x80';
  EXPECT_EQ(read_acquisition_sets(unsaid).gamma, std::nullopt);
  // Of a later version of the registry.
  auto later = camera_set(gamma);
  later[7] = 0x0E;
  EXPECT_EQ(read_acquisition_sets(later).gamma, "s-log3-cine");
  // Another set, whose tags mean other things, is passed over as a whole.
  auto other = camera_set({{0x8106, big(50, 4) + big(1, 4)}, {0x3210, label(0x01010501)}});
  other[8] = 0x0D;
  EXPECT_EQ(read_acquisition_sets(other).capture_rate, std::nullopt);
  const auto both = read_acquisition_sets(other + camera_set(gamma));
  EXPECT_EQ(both.gamma, "s-log3-cine");
  EXPECT_EQ(both.capture_rate, std::nullopt);
}

}  // namespace
}  // namespace everytake
