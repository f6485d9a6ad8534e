#include "pipeline/room.h"
#include "support/rooms.h"

#include <gtest/gtest.h>

namespace everytake {
namespace {

Clip clip(std::uint64_t megabytes, int seconds_long, const char* camera = "L-1") {
  Clip each;
  each.size = megabytes * 1'000'000;
  each.facts.duration = std::chrono::seconds(seconds_long);
  each.facts.camera = camera;
  each.facts.codec = "hevc";
  return each;
}

TEST(Room, LastsAsLongAsTheArithmeticSays) {
  // 100 Mbit/s is 0.75 GB a minute, 133 minutes per 100 GB; 2 GB of a 100 GB disk are kept.
  EXPECT_NEAR(seconds(recording_left(102'000'000'000, 100'000'000'000, 100e6)) / 60, 133.3, 0.1);
  EXPECT_EQ(recording_left(1'000'000'000, 10'000'000'000, 100e6), Micros::zero());
  EXPECT_NEAR(seconds(recording_left(1'750'000'000, 10'000'000'000, 100e6)), 60, 0.01);
}

TEST(Room, MeasuresTheCommonestWayOfRecording) {
  std::vector<Clip> clips;
  for (int i = 0; i < 8; ++i) clips.push_back(clip(100, 8));  // 100 Mbit/s
  clips.push_back(clip(200, 8));
  clips.push_back(clip(300, 8));
  clips.push_back(clip(900, 1, "M-2"));
  clips.push_back(Clip{});  // nothing is known of it
  const auto rates = recording_rates(clips);
  ASSERT_EQ(rates.size(), 2U);
  EXPECT_EQ(rates[0].what, "L-1, hevc");
  EXPECT_EQ(rates[0].clips, 10U);
  EXPECT_DOUBLE_EQ(rates[0].median, 100e6);
  EXPECT_DOUBLE_EQ(rates[0].high, 200e6);
  EXPECT_FALSE(rates[0].assumed);
}

TEST(Room, SaysSoWhereItCanOnlyAssume) {
  const auto rates = recording_rates({});
  ASSERT_EQ(rates.size(), 1U);
  EXPECT_TRUE(rates[0].assumed);
}

}  // namespace
}  // namespace everytake
