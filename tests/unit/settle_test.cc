// A clip whose sound fits several places, told by the clips before and after it.
#include "align/settle.h"

#include <gtest/gtest.h>

#include "support/rooms.h"
#include "support/shoot_rows.h"

namespace everytake {
namespace {

using namespace std::chrono_literals;
using State = Placement::State;
using test::kNoon;

Clip clip(std::int64_t id, Micros recorded, Micros length, Micros start, State state = State::placed) {
  Clip made;
  made.id = ClipId{id};
  made.roll = "R001";
  made.name = "C000" + std::to_string(id);
  made.facts.recorded_at = kNoon + recorded;
  made.facts.duration = length;
  made.placement.state = state;
  made.placement.start = start;
  made.placement.spans = {{start, start + length}};
  return made;
}

// The chorus begins at 0:30, 1:30 and 2:30; the sound says the first, by a hair.
Clip in_a_chorus(std::int64_t id, Micros recorded) {
  auto made = clip(id, recorded, 8s, 30s, State::ambiguous);
  made.placement.candidates = {{30s, 0.9}, {90s, 0.9}, {150s, 0.8}};
  return made;
}

TEST(Settle, TakesThePlaceAtWhichThePlaybackRanOnFromTheClipBefore) {
  // Recorded 68 s after a clip that begins at 0:22 and lasts 60 s: the song stood at 1:30 then.
  const std::vector<Clip> clips{clip(1, 0s, 60s, 22s), in_a_chorus(2, 68s)};
  const auto settled = settle(clips);
  ASSERT_EQ(settled.size(), 1U);
  EXPECT_EQ(settled[0].first, ClipId{2});
  const auto& placement = settled[0].second;
  EXPECT_EQ(placement.state, State::placed);
  EXPECT_EQ(placement.by, By::rule);
  EXPECT_EQ(placement.start, Micros(90s));
  EXPECT_EQ(placement.spans, (std::vector<Span>{{90s, 98s}}));
  EXPECT_EQ(placement.confidence, 0.9);
  EXPECT_EQ(placement.settled_by, "R001/C0001");
  EXPECT_EQ(placement.candidates.size(), 3U);
}

TEST(Settle, HearsTheClipAfterAsWell) {
  const std::vector<Clip> clips{in_a_chorus(1, 0s), clip(2, 10s, 30s, 160s)};
  const auto settled = settle(clips);
  ASSERT_EQ(settled.size(), 1U);
  EXPECT_EQ(settled[0].second.start, Micros(150s));
}

// 40 s of a clip stored at half its rate were shot in 20 s, in which the song went from 1:10 to 1:30.
TEST(Settle, ReckonsWithHowLongAClipWasShotNotHowLongItPlays) {
  auto slow = clip(1, 0s, 40s, 70s);
  slow.placement.by = By::hand;
  slow.placement.spans = {{70s, 90s}};
  slow.facts.frame_rate = Rational(24000, 1001);
  slow.facts.capture_rate = Rational(48000, 1001);
  slow.facts.audio = false;
  const auto settled = settle(std::vector{slow, in_a_chorus(2, 20s)});
  ASSERT_EQ(settled.size(), 1U);
  EXPECT_EQ(settled[0].second.start, Micros(90s));
  slow.facts.capture_rate = slow.facts.frame_rate;  // shot in 40 s: still running when the other began
  EXPECT_TRUE(settle(std::vector{slow, in_a_chorus(2, 20s)}).empty());
}

TEST(Settle, AllowsForTimesOfRecordingInWholeSeconds) {
  EXPECT_EQ(settle(std::vector{clip(1, 0s, 60s, 23s), in_a_chorus(2, 68s)}).size(), 1U);  // a second off
  EXPECT_EQ(settle(std::vector{clip(1, 0s, 60s, 25s), in_a_chorus(2, 68s)}).size(), 0U);  // three
}

TEST(Settle, ChangesNothingWherePlaybackMayNotHaveRunOn) {
  EXPECT_TRUE(settle(std::vector{clip(1, 0s, 30s, 22s), in_a_chorus(2, 68s)}).empty()) << "38 s between them";
  auto stopped = clip(1, 0s, 60s, 22s);
  stopped.placement.spans = {{22s, 70s}};  // heard for 48 s of it
  EXPECT_TRUE(settle(std::vector{stopped, in_a_chorus(2, 68s)}).empty()) << "the playback stopped before its end";
  auto other_card = clip(1, 0s, 60s, 22s);
  other_card.roll = "R002";
  EXPECT_TRUE(settle(std::vector{other_card, in_a_chorus(2, 68s)}).empty()) << "another camera's clock";
  auto timeless = clip(1, 0s, 60s, 22s);
  timeless.facts.recorded_at.reset();
  EXPECT_TRUE(settle(std::vector{timeless, in_a_chorus(2, 68s)}).empty());
  auto faster = clip(1, 0s, 60s, -46s);
  faster.placement.speed = 2;
  EXPECT_TRUE(settle(std::vector{faster, in_a_chorus(2, 68s)}).empty()) << "played at another speed";
}

TEST(Settle, TrustsNeitherOfTwoNeighboursThatDisagree) {
  EXPECT_TRUE(settle(std::vector{clip(1, 0s, 60s, 22s), in_a_chorus(2, 68s), clip(3, 78s, 30s, 160s)}).empty());
  EXPECT_EQ(settle(std::vector{clip(1, 0s, 60s, 22s), in_a_chorus(2, 68s), clip(3, 78s, 30s, 100s)}).size(), 1U);
}

TEST(Settle, TakesBackWhatRestedOnAPlaceThatIsGone) {
  std::vector<Clip> clips{clip(1, 0s, 60s, 22s), in_a_chorus(2, 68s)};
  clips[1].placement = settle(clips).at(0).second;
  EXPECT_TRUE(settle(clips).empty()) << "nothing has changed since";
  clips[0].placement.start = 100s;  // by hand: the other take
  const auto again = settle(clips);
  ASSERT_EQ(again.size(), 1U);
  EXPECT_EQ(again[0].second.state, State::ambiguous);
  EXPECT_EQ(again[0].second.start, Micros(30s));
  EXPECT_EQ(again[0].second.settled_by, "");
}

TEST(Settle, LeavesWhatTheHandChoseAndLetsNoSettledClipTellOthers) {
  std::vector<Clip> clips{clip(1, 0s, 60s, 22s), in_a_chorus(2, 68s), in_a_chorus(3, 77s)};
  clips[2].placement.by = By::hand;
  EXPECT_EQ(settle(clips).size(), 1U);
  clips[0].placement.settled_by = "R001/C0009";
  EXPECT_TRUE(settle(clips).empty());
}

}  // namespace
}  // namespace everytake
