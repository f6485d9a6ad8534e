#include "setup/assign.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cstdlib>

#include "base/text.h"
#include "support/rooms.h"

namespace everytake {
namespace {

using namespace std::chrono_literals;
using Said = everytake::Setup;

// Times of the day as a person says them: 14:10 is at(14, 10).
Instant at(int hours, int minutes, int seconds = 0) {
  return *parse_iso8601("2026-11-28T00:00:00Z") + std::chrono::hours(hours) + std::chrono::minutes(minutes) +
         std::chrono::seconds(seconds);
}

Said of(std::int64_t id, Instant when, std::vector<std::string> members) {
  Said setup;
  setup.id = SetupId{id};
  setup.at = when;
  setup.members = std::move(members);
  return setup;
}

Clip clip(std::int64_t id, std::optional<Instant> recorded_at, Micros duration = 10s) {
  Clip clip;
  clip.id = ClipId{id};
  clip.facts.recorded_at = recorded_at;
  clip.facts.duration = duration;
  clip.facts.camera = "L-1";
  return clip;
}

class Setups : public testing::Test {
 protected:
  Setups() {
    ::setenv("TZ", "UTC", 1);
    ::tzset();
  }
  // Ada from 14:10, both from 14:22, nothing from 15:00, Jonas from 15:30.
  const std::vector<Said> day_{of(1, at(14, 10), {"Ada"}), of(2, at(14, 22), {"Ada", "Jonas"}), of(3, at(15, 0), {}),
                               of(4, at(15, 30), {"Jonas"})};

  std::int64_t setup_of(const Clip& clip, std::span<const CameraClock> clocks = {}) const {
    const auto assigned = setup::assign(day_, clocks, std::span(&clip, 1));
    return assigned.empty() ? 0 : assigned[0].setup.value;
  }
  std::string because_of(const Clip& clip) const {
    const auto assigned = setup::assign(day_, {}, std::span(&clip, 1));
    return assigned.empty() ? "" : assigned[0].because;
  }
};

TEST_F(Setups, HoldFromTheirTimeUntilTheNext) {
  EXPECT_EQ(setup_of(clip(1, at(14, 9, 50))), 0);  // its middle is 14:09:55
  EXPECT_EQ(setup_of(clip(1, at(14, 10))), 1);
  EXPECT_EQ(setup_of(clip(1, at(14, 21, 40))), 1);
  EXPECT_EQ(setup_of(clip(1, at(14, 22))), 2);
  EXPECT_EQ(setup_of(clip(1, at(15, 0))), 0);  // after the end
  EXPECT_EQ(setup_of(clip(1, at(23, 0))), 4);
  EXPECT_EQ(setup_of(clip(1, std::nullopt)), 0);
}

TEST_F(Setups, AClipBelongsToTheOneAtItsMiddleAndSaysSo) {
  EXPECT_EQ(setup_of(clip(1, at(14, 21, 54))), 1);  // the middle is 14:21:59
  EXPECT_EQ(setup_of(clip(1, at(14, 21, 56))), 2);  // 14:22:01
  EXPECT_EQ(because_of(clip(1, at(14, 15))), "setup of 14:10");
  EXPECT_EQ(because_of(clip(1, at(14, 21, 54))), "setup of 14:10; another began at 14:22");
  EXPECT_EQ(because_of(clip(1, at(14, 21, 56))), "setup of 14:22, said while it was recorded");
  EXPECT_EQ(because_of(clip(1, at(14, 59, 54))), "setup of 14:22; that ended at 15:00");
}

// 40 s at 120 frames a second, stored at 24: 8 s in the room. The middle is 4 s in.
TEST_F(Setups, SlowMotionWasRecordedInLessTimeThanItPlays) {
  auto slow = clip(1, at(14, 21, 55), 40s);
  slow.facts.audio = false;
  slow.facts.frame_rate = Rational(24, 1);
  slow.facts.capture_rate = Rational(120, 1);
  EXPECT_EQ(setup_of(slow), 1);
  slow.facts.audio = true;  // with sound it plays in real time, whatever its notes say: the middle is 14:22:15
  EXPECT_EQ(setup_of(slow), 2);
  slow.facts.audio = false;
  slow.facts.capture_rate = Rational(24, 1);
  EXPECT_EQ(setup_of(slow), 2);
}

TEST_F(Setups, GoByTheCorrectedClockOfTheCamera) {
  const CameraClock ahead{"L-1", 1h + 2min + 30s, "hand"}, other{"L-2", 5h, "hand"};
  EXPECT_EQ(setup_of(clip(1, at(15, 17, 30)), std::span(&ahead, 1)), 1);  // 14:15
  EXPECT_EQ(setup_of(clip(1, at(15, 17, 30)), std::span(&other, 1)), 0);
}

TEST_F(Setups, PointOutACameraThatSeemsHoursOff) {
  const std::vector<Said> afternoon{of(1, at(14, 10), {"Ada"}), of(2, at(15, 0), {})};
  const std::vector<Clip> ahead{clip(1, at(15, 20)), clip(2, at(15, 40))};
  const auto doubts = setup::doubtful_clocks(afternoon, {}, ahead, at(20, 0));
  ASSERT_EQ(doubts.size(), 1U);
  EXPECT_EQ(doubts[0].camera, "L-1");
  EXPECT_EQ(doubts[0].ahead, 1h);
  EXPECT_EQ(doubts[0].clips, 2U);

  const std::vector<Clip> some_inside{clip(1, at(15, 20)), clip(2, at(14, 40))};
  EXPECT_TRUE(setup::doubtful_clocks(afternoon, {}, some_inside, at(20, 0)).empty());
  const std::vector<Clip> no_hour_fits{clip(1, at(15, 20)), clip(2, at(17, 40))};
  EXPECT_TRUE(setup::doubtful_clocks(afternoon, {}, no_hour_fits, at(20, 0)).empty());
  const CameraClock known{"L-1", 0s, "hand"};
  EXPECT_TRUE(setup::doubtful_clocks(afternoon, std::span(&known, 1), ahead, at(20, 0)).empty());
}

// An open setup and clips of one hour: two hours and more would do as well.
TEST_F(Setups, GuessNoHourWhereSeveralFit) {
  const std::vector<Said> open{of(1, at(12, 0), {"Ada"})};
  const std::vector<Clip> later{clip(1, at(15, 10))};
  EXPECT_TRUE(setup::doubtful_clocks(open, {}, later, at(15, 0)).empty());
}

TEST_F(Setups, NameTheDayWhereItIsAnother) {
  EXPECT_EQ(because_of(clip(1, at(14 + 24, 0))), "setup of 2026-11-28 15:30");
}

// What is recorded after this very moment comes from a clock that is ahead.
TEST_F(Setups, HoldNoLongerThanUntilNow) {
  const std::vector<Said> open{of(1, at(14, 10), {"Ada"})};
  const std::vector<Clip> later{clip(1, at(15, 20))};
  const auto doubts = setup::doubtful_clocks(open, {}, later, at(14, 30));
  ASSERT_EQ(doubts.size(), 1U);
  EXPECT_EQ(doubts[0].ahead, 1h);
}

TEST(Ahead, IsWrittenAndReadAsHoursMinutesAndSeconds) {
  EXPECT_EQ(setup::ahead_text(1h + 2min + 30s), "1:02:30");
  EXPECT_EQ(setup::ahead_text(-4s), "-0:00:04");
  EXPECT_EQ(setup::ahead_text(1500ms), "0:00:01.5");
  EXPECT_EQ(setup::parse_ahead("1:02:30"), 1h + 2min + 30s);
  EXPECT_EQ(setup::parse_ahead("-0:00:04"), -4s);
  EXPECT_FALSE(setup::parse_ahead("1:02"));  // an hour, or a minute?
  EXPECT_EQ(setup::parse_ahead("+1:00:00"), 1h);
  EXPECT_FALSE(setup::parse_ahead("25:00:00"));
  EXPECT_FALSE(setup::parse_ahead("an hour"));
  EXPECT_FALSE(setup::parse_ahead(""));
}

}  // namespace
}  // namespace everytake
