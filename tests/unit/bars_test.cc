#include "plan/bars.h"
#include "support/rooms.h"

#include <gtest/gtest.h>

#include <random>

namespace everytake {
namespace {

using namespace std::chrono_literals;

BarGrid grid(double tempo, Meter meter, Micros first_bar = 0us) {
  return {tempo, meter, first_bar};
}

// By hand: a quarter at 96 a minute lasts 60/96 = 0.625 s. 4/4 is four of them; 3/4 is three; 6/8 is six eighths, which
// are three quarters; 7/8 is three and a half.
TEST(Bars, LastAsManyQuartersAsTheMeterSays) {
  EXPECT_EQ(grid(96, {4, 4}).length(1), 2'500ms);
  EXPECT_EQ(grid(96, {3, 4}).length(1), 1'875ms);
  EXPECT_EQ(grid(96, {6, 8}).length(1), 1'875ms);
  EXPECT_EQ(grid(96, {7, 8}).length(1), 2'187'500us);
  EXPECT_EQ(grid(60, {2, 2}).length(1), 4s);
}

TEST(Bars, AreCountedFromOneAtTheFirstBar) {
  const auto g = grid(96, {4, 4}, 250ms);
  EXPECT_EQ(g.start_of(1), 250ms);
  EXPECT_EQ(g.start_of(5), 10'250ms);
  EXPECT_EQ(g.start_of(0), -2'250ms);
}

// 4/4 at 123: a bar lasts 240/123 s = 80/41 s. 410 bars last 800 s exactly, although one bar is no whole microsecond.
TEST(Bars, DoNotDrift) {
  EXPECT_EQ(grid(123, {4, 4}).length(410), 800s);
}

TEST(Bars, GiveBarAndBeatOfATime) {
  const auto g = grid(96, {4, 4}, 250ms);
  const auto second_beat = g.at(250ms + 2'500ms + 625ms);
  EXPECT_EQ(second_beat.bar, 2);
  EXPECT_DOUBLE_EQ(second_beat.beat, 2);
  const auto between = g.at(250ms + 312'500us);
  EXPECT_EQ(between.bar, 1);
  EXPECT_NEAR(between.beat, 1.5, 1e-6);
}

TEST(Bars, CountTheUpbeatAsBarZero) {
  const auto upbeat = grid(96, {4, 4}, 625ms).at(0us);
  EXPECT_EQ(upbeat.bar, 0);
  EXPECT_DOUBLE_EQ(upbeat.beat, 4);
}

TEST(Bars, FindTheBarLineATimeMeans) {
  const auto g = grid(96, {4, 4}, 250ms);
  EXPECT_EQ(g.bar_starting_at(10'250ms, 10ms), 5);
  EXPECT_EQ(g.bar_starting_at(10'241ms, 10ms), 5);
  EXPECT_EQ(g.bar_starting_at(10'239ms, 10ms), std::nullopt);
}

TEST(Bars, EveryBarsStartIsItsFirstBeat) {
  std::mt19937 random(1);
  std::uniform_real_distribution<double> tempo(20, 300);
  std::uniform_int_distribution<int> beats(1, 15), unit(0, 4), bar(-3, 2000), offset(0, 5'000'000);
  for (int i = 0; i < 5000; ++i) {
    const auto g = grid(tempo(random), {beats(random), 1 << unit(random)}, Micros(offset(random)));
    const int n = bar(random);
    const auto found = g.at(g.start_of(n));
    EXPECT_EQ(found.bar, n);
    EXPECT_DOUBLE_EQ(found.beat, 1);
    EXPECT_EQ(g.bar_starting_at(g.start_of(n), 0us), n);
  }
}

}  // namespace
}  // namespace everytake
