// The one rule that leads from a clip's own time to the song's and back: pace(), and what rests on it. All expectations
// are hand arithmetic, written beside them.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "model.h"
#include "support/rooms.h"

namespace everytake {
namespace {

using namespace std::chrono_literals;
using testing::ElementsAre;
using testing::IsEmpty;

const Rational kFilm(24000, 1001), kDouble(48000, 1001), kFast(120000, 1001);

Clip silent(Micros length, std::optional<Rational> rate, std::optional<Rational> capture) {
  Clip clip;
  clip.facts.duration = length;
  clip.facts.frame_rate = rate;
  clip.facts.capture_rate = capture;
  clip.facts.audio = false;
  return clip;
}

Clip by_hand(Clip clip, Micros start, double speed = 1) {
  clip.placement.state = Placement::State::placed;
  clip.placement.by = By::hand;
  clip.placement.start = start;
  clip.placement.speed = speed;
  lay_out_in_song(clip, 213s);
  return clip;
}

// 119.88 frames a second stored at 23.976 play 5 times slower: 6 s of the file were 1.2 s on the set.
TEST(ClipInSong, SawAFifthOfItsLengthWhereItIsStoredFiveTimesSlower) {
  const auto clip = by_hand(silent(6s, kFilm, kFast), 31s);
  EXPECT_EQ(stored_slow(clip), 5);
  EXPECT_THAT(clip.placement.spans, ElementsAre(Span{31s, 32'200ms}));
  EXPECT_EQ(clip_time_at(clip, 32s), 5s);
  EXPECT_EQ(song_time_at(clip, 2'500ms), 31'500ms);
}

// Played at twice its speed, captured at 47.952 and stored at 23.976: 10 s of the file were 5 s on the set, in which 10
// s of the song went by.
TEST(ClipInSong, HasItsLipsInTimeWhereSpeedAndSlowingCancelOut) {
  const auto clip = by_hand(silent(10s, kFilm, kDouble), 20s, 2);
  EXPECT_EQ(stored_slow(clip), 2);
  EXPECT_EQ(pace(clip), 1);
  EXPECT_THAT(clip.placement.spans, ElementsAre(Span{20s, 30s}));
  EXPECT_EQ(clip_time_at(clip, 27s), 7s);
}

// 6 s of the file were 1.2 s on the set; at 5 times its speed 6 s of the song went by.
TEST(ClipInSong, HoldsAsMuchSongAsItIsLongAtTheSpeedItWasSlowedBy) {
  EXPECT_THAT(by_hand(silent(6s, kFilm, kFast), 31s, 5).placement.spans, ElementsAre(Span{31s, 37s}));
}

// A frame every second, stored at 24: 2 s of the file were 48 s on the set.
TEST(ClipInSong, HoldsMoreSongThanItIsLongWhereItIsStoredQuickened) {
  EXPECT_THAT(by_hand(silent(2s, Rational(24, 1), Rational(1, 1)), 10s).placement.spans, ElementsAre(Span{10s, 58s}));
}

TEST(ClipInSong, RunsInRealTimeWhereItHasSound) {
  auto clip = silent(6s, kFast, kFast);
  clip.facts.audio = true;
  EXPECT_EQ(stored_slow(clip), 1);
  EXPECT_THAT(by_hand(clip, 31s).placement.spans, ElementsAre(Span{31s, 37s}));
  clip.facts.frame_rate = kFilm;  // whatever its notes say: the sound is as long as the picture
  EXPECT_EQ(stored_slow(clip), 1);
  clip.facts.levels = SoundLevels{288'000, -90, 0};  // a track that holds nothing says nothing
  EXPECT_EQ(stored_slow(clip), 5);
  clip.facts.levels->peak_db = -20;
  EXPECT_EQ(stored_slow(clip), 1);
}

TEST(ClipInSong, RunsInRealTimeWhereItWasPlacedByItsSoundHoweverQuiet) {
  auto clip = silent(6s, kFilm, kFast);
  clip.facts.audio = true;
  clip.facts.levels = SoundLevels{288'000, -75, 0};
  clip.placement.state = Placement::State::placed;
  clip.placement.spans = {{31s, 37s}};
  EXPECT_EQ(stored_slow(clip), 1);
  clip.placement.by = By::hand;  // chose one of several places
  clip.placement.candidates = {{31s, 0.9}, {61s, 0.9}};
  EXPECT_EQ(stored_slow(clip), 1);
  lay_out_in_song(clip, 213s);
  EXPECT_THAT(clip.placement.spans, ElementsAre(Span{31s, 37s}));  // as they were heard
}

TEST(ClipInSong, IsOfUnknownSlowingWhereNoCaptureRateIsKnown) {
  auto clip = silent(6s, kFilm, std::nullopt);
  EXPECT_EQ(stored_slow(clip), std::nullopt);
  EXPECT_THAT(by_hand(clip, 31s).placement.spans, ElementsAre(Span{31s, 37s}));
  clip.facts.audio = true;
  EXPECT_EQ(stored_slow(clip), 1);  // its sound tells
}

// 1000 parts in a million of 100 s are 0.1 s.
TEST(ClipInSong, DriftsWithTheClocks) {
  auto clip = silent(100s, kFilm, kFilm);
  clip.placement.start = 10s;
  clip.placement.drift_ppm = 1000;
  EXPECT_EQ(song_time_at(clip, 100s), 110'100ms);
  EXPECT_EQ(clip_time_at(clip, 110'100ms), 100s);
}

TEST(ClipInSong, HoldsNothingBeforeTheSongNorPastItsEnd) {
  EXPECT_THAT(by_hand(silent(10s, kFilm, kFilm), -4s).placement.spans, ElementsAre(Span{0s, 6s}));
  EXPECT_THAT(by_hand(silent(10s, kFilm, kFilm), 209s).placement.spans, ElementsAre(Span{209s, 213s}));
  EXPECT_THAT(by_hand(silent(10s, kFilm, kFast), -4s).placement.spans, IsEmpty());  // its 2 s were over by -0:02
  auto endless = by_hand(silent(10s, kFilm, kFilm), 209s);
  lay_out_in_song(endless, std::nullopt);
  EXPECT_THAT(endless.placement.spans, ElementsAre(Span{209s, 219s}));
  EXPECT_THAT(by_hand(Clip{}, 31s).placement.spans, IsEmpty());  // of unknown length
}

}  // namespace
}  // namespace everytake
