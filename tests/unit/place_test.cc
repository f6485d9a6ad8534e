#include "align/place.h"

#include <gtest/gtest.h>

#include <cmath>
#include <set>

#include "align/resample.h"
#include "support/capture.h"
#include "support/made_song.h"
#include "support/rooms.h"

namespace everytake {
namespace {

using State = Placement::State;
using test::Capture;
using test::captured;

const double kOwnSpeed[] = {1.0};

// One song for all: making it takes a second.
struct Studio {
  test::MadeSong made = test::make_song_of(31, 311);
  SongIndex index{slowed_down(made.sound, 0.5)};
};
const Studio& studio() {
  static const Studio one;
  return one;
}

Placement placed(const test::Track& heard) {
  return place(studio().index, slowed_down(heard, 0.5), kOwnSpeed);
}
Placement placed(const Capture& how) {
  return placed(captured(studio().made.sound, how));
}

// Where the song is said to be at a clip time, in seconds.
double song_at(const Placement& p, double clip_time) {
  return seconds(p.start) + p.speed * (1 + p.drift_ppm * 1e-6) * clip_time;
}

// The construction is exact: the song's own samples from one of them on.
TEST(Place, FindsAnExactCutWithinATenthOfAMillisecondAndOnePartInAMillion) {
  const auto& song = studio().index.sound();
  const std::size_t from = 123457;
  const std::vector<float> clip(song.begin() + from, song.begin() + from + 40 * kAlignRate);
  const auto p = place(studio().index, clip, kOwnSpeed);
  ASSERT_EQ(p.state, State::placed);
  EXPECT_NEAR(seconds(p.start), static_cast<double>(from) / kAlignRate, 1e-4);
  EXPECT_NEAR(p.drift_ppm, 0, 1);
  EXPECT_EQ(p.speed, 1);
  ASSERT_EQ(p.spans.size(), 1U);
  EXPECT_NEAR(seconds(p.spans[0].length()), 40, 0.01);
  EXPECT_GT(p.confidence, 0.9);
}

TEST(Place, NamesAnExactClockDriftAndSpeedWithinOnePartInAMillion) {
  for (const double speed : {1.0, 1.25, 0.8}) {
    const double ratio = speed * (1 + 60e-6);
    std::vector<float> part(studio().made.sound.begin() + 160000, studio().made.sound.begin() + 160000 + 60 * 16000);
    const auto p = placed(slowed_down(part, 1 / ratio));
    ASSERT_EQ(p.state, State::placed) << speed;
    EXPECT_EQ(p.speed, speed);
    EXPECT_NEAR(p.drift_ppm, 60, 1) << speed;
    EXPECT_NEAR(seconds(p.start), 10, 1e-4) << speed;
  }
}

TEST(Place, FindsAHardClip) {
  Capture how;
  how.start = 31.4;
  how.length = 40;
  how.drift_ppm = -70;
  how.decay = 1.2;
  how.noise_db = 0;
  how.talk_db = 0;
  how.gain_control = true;
  how.clipping = 0.4;
  how.speaker_low = 300;
  const auto p = placed(how);
  ASSERT_EQ(p.state, State::placed);
  EXPECT_NEAR(song_at(p, 20), how.start + 20 * (1 - 70e-6), 0.005);
  EXPECT_NEAR(p.drift_ppm, -70, 10);
}

TEST(Place, IsTheSameEachTime) {
  Capture how;
  how.start = 20;
  how.length = 12;
  how.noise_db = 3;
  const auto sound = slowed_down(captured(studio().made.sound, how), 0.5);
  const auto a = place(studio().index, sound, kOwnSpeed), b = place(studio().index, sound, kOwnSpeed);
  EXPECT_EQ(a.start, b.start);
  EXPECT_EQ(a.drift_ppm, b.drift_ppm);
  EXPECT_EQ(a.confidence, b.confidence);
}

TEST(Place, HasANegativeStartWhereTheCameraRolledFirst) {
  Capture how;
  how.start = -6.5;
  how.length = 30;
  const auto p = placed(how);
  ASSERT_EQ(p.state, State::placed);
  EXPECT_NEAR(seconds(p.start), -6.5, 0.005);
  ASSERT_EQ(p.spans.size(), 1U);
  EXPECT_EQ(p.spans[0].start, Micros{});
}

TEST(Place, HoldsOnlyWhatWasPlayed) {
  Capture how;
  how.start = 40;
  how.length = 50;
  how.plays_from = 12;
  how.plays_to = 36;
  const auto p = placed(how);
  ASSERT_EQ(p.state, State::placed);
  EXPECT_NEAR(seconds(p.start), 40, 0.005);
  ASSERT_EQ(p.spans.size(), 1U);
  EXPECT_NEAR(seconds(p.spans[0].start), 52, 1.6);
  EXPECT_NEAR(seconds(p.spans[0].end), 76, 1.6);
}

TEST(Place, TellsSpeedsApart) {
  for (const double speed : {0.5, 2.0})
    for (const bool pitch_moves : {true, false}) {
      Capture how;
      how.start = 8;
      how.length = 40;
      how.speed = speed;
      how.pitch_moves = pitch_moves;
      const auto p = placed(how);
      ASSERT_EQ(p.state, State::placed) << speed << pitch_moves;
      EXPECT_EQ(p.speed, speed) << pitch_moves;
      EXPECT_NEAR(song_at(p, 20), 8 + speed * 20, pitch_moves ? 0.005 : 0.0417) << speed;
    }
}

TEST(Place, ListsEveryCopyOfAChorus) {
  const auto& parts = studio().made.parts;
  Capture how;
  how.start = parts[4].start + 0.5;
  how.length = 10;
  const auto p = placed(how);
  ASSERT_EQ(p.state, State::ambiguous);
  ASSERT_EQ(p.candidates.size(), 3U);
  for (const std::size_t chorus : {2U, 4U, 6U}) {
    double nearest = 1e9;
    for (const auto& c : p.candidates)
      nearest = std::min(nearest, std::abs(seconds(c.start) - parts[chorus].start - 0.5));
    EXPECT_LT(nearest, 0.005) << chorus;
  }
}

TEST(Place, ListsEveryCopyWhereThePitchWasKept) {
  constexpr int kCopies = 9;
  const auto& chorus = studio().made.parts[4];
  const auto sample = [](double time) { return std::lround(time * test::kTrackRate); };
  const auto& whole = studio().made.sound;
  const test::Track once(whole.begin() + sample(chorus.start), whole.begin() + sample(chorus.end));
  test::Track song;
  for (int i = 0; i < kCopies; ++i) song.insert(song.end(), once.begin(), once.end());
  const double period = static_cast<double>(once.size()) / test::kTrackRate;
  Capture how;
  how.start = 4 * period + 0.5;
  how.length = 28;
  how.speed = 0.5;
  how.pitch_moves = false;
  const auto p = place(SongIndex(slowed_down(song, 0.5)), slowed_down(captured(song, how), 0.5), kOwnSpeed);
  ASSERT_EQ(p.state, State::ambiguous);
  EXPECT_EQ(p.speed, 0.5);
  ASSERT_EQ(p.candidates.size(), kCopies);
  std::set<long> copies;
  for (const auto& c : p.candidates) {
    const double past = (seconds(c.start) - 0.5) / period;
    EXPECT_NEAR(past, std::round(past), 0.0417 / period);
    copies.insert(std::lround(past));
  }
  EXPECT_EQ(copies, (std::set<long>{0, 1, 2, 3, 4, 5, 6, 7, 8}));
}

TEST(Place, KnowsAChorusByItsNeighbour) {
  const auto& parts = studio().made.parts;
  Capture how;
  how.start = parts[4].start - 6;
  how.length = 20;
  const auto p = placed(how);
  ASSERT_EQ(p.state, State::placed);
  EXPECT_NEAR(seconds(p.start), how.start, 0.005);
}

// All but a third of a second of these clips stands in the song three times. The last chorus alone follows the bridge.
TEST(Place, KnowsAChorusByTheLittleHeardBeforeOrAfterIt) {
  const auto& parts = studio().made.parts;
  constexpr double kLength = 12;
  for (const double start : {parts[6].start - 0.3, parts[4].end + 0.3 - kLength}) {
    Capture how;
    how.start = start;
    how.length = kLength;
    const auto p = placed(how);
    ASSERT_EQ(p.state, State::placed) << start;
    EXPECT_NEAR(seconds(p.start), start, 0.005);
  }
}

TEST(Place, FindsNothingInOtherSound) {
  const auto other = test::make_song_of(32, 321);
  Capture how;
  how.start = 20;
  how.length = 30;
  EXPECT_EQ(placed(captured(other.sound, how)).state, State::none);
  EXPECT_EQ(placed(test::set_noise(20, 5, true)).state, State::none);
}

// The trap of music made on a grid: the same drums at the same tempo under another tune.
TEST(Place, DoesNotTakeAnotherSongOfTheSameKit) {
  const auto sibling = test::make_song_of(31, 312);
  for (const double start : {4.0, 31.0, 58.0}) {
    Capture how;
    how.start = start;
    how.length = 18;
    EXPECT_NE(placed(captured(sibling.sound, how)).state, State::placed) << start;
  }
}

TEST(Place, HasNoPlaceForSilenceAndForAMoment) {
  EXPECT_EQ(place(studio().index, {}, kOwnSpeed).state, State::no_audio);
  EXPECT_EQ(place(studio().index, std::vector<float>(80000), kOwnSpeed).state, State::no_audio);
  const std::vector<float> moment(4000, 0.1F);
  EXPECT_EQ(place(studio().index, moment, kOwnSpeed).state, State::none);
  EXPECT_EQ(place(SongIndex(std::vector<float>(100)), std::vector<float>(80000, 0.1F), kOwnSpeed).state, State::none);
}

}  // namespace
}  // namespace everytake
