#include "media/classify.h"
#include "support/rooms.h"

#include <gtest/gtest.h>

namespace everytake {
namespace {

using namespace std::chrono_literals;

const Rational kEdit(24000, 1001), k2997(30000, 1001), k4795(48000, 1001), k11988(120000, 1001);

ClipFacts clip_at(Rational rate, std::optional<Rational> capture = std::nullopt) {
  ClipFacts facts;
  facts.frame_rate = rate;
  facts.capture_rate = capture;
  return facts;
}

Placement placed(Micros length, double speed = 1) {
  Placement placement;
  placement.state = Placement::State::placed;
  placement.speed = speed;
  placement.spans = {{20s, 20s + length}};
  return placement;
}

Placement unplaced(Placement::State state = Placement::State::none) {
  Placement placement;
  placement.state = state;
  return placement;
}

std::optional<Kind> kind_of(const ClipFacts& facts, const Placement& placement) {
  return classify(facts, placement, kEdit).kind;
}

TEST(Classify, CallsAPerformanceWhatLiesInTheSong) {
  EXPECT_EQ(kind_of(clip_at(kEdit), placed(30s)), Kind::performance);
  EXPECT_EQ(kind_of(clip_at(kEdit), placed(10s)), Kind::performance);
  EXPECT_EQ(kind_of(clip_at(kEdit), placed(9s)), Kind::b_roll);
  EXPECT_EQ(kind_of(clip_at(k2997), placed(30s)), Kind::performance);
}

TEST(Classify, CallsBRollWhatDoesNot) {
  EXPECT_EQ(kind_of(clip_at(kEdit), unplaced()), Kind::b_roll);
  EXPECT_EQ(kind_of(clip_at(kEdit), unplaced(Placement::State::no_audio)), Kind::b_roll);
  EXPECT_EQ(kind_of(clip_at(k2997), unplaced()), Kind::b_roll);  // 1.25 times the edit's rate
}

TEST(Classify, CallsSlowMotionWhatPlaysSlowerThanLife) {
  EXPECT_EQ(kind_of(clip_at(kEdit, k11988), unplaced(Placement::State::no_audio)), Kind::slow_mo);
  EXPECT_EQ(kind_of(clip_at(k2997, Rational(7500, 1001)), unplaced()), Kind::b_roll);  // quick motion
}

// Its notes may say what they like: a file with sound plays in real time.
TEST(Classify, CallsAPerformanceWhatIsHeardInTheSongThoughItsNotesSpeakOfSlowMotion) {
  auto facts = clip_at(kEdit, k11988);
  facts.audio = true;
  EXPECT_EQ(kind_of(facts, placed(30s)), Kind::performance);
  EXPECT_EQ(kind_of(facts, unplaced()), Kind::slow_mo);
  facts.levels = SoundLevels{48'000, -90, 0};  // a track that holds nothing
  EXPECT_EQ(kind_of(facts, placed(30s)), Kind::slow_mo);
}

TEST(Classify, CallsSlowMotionWhatWasCapturedFast) {
  EXPECT_EQ(kind_of(clip_at(k11988, k11988), unplaced()), Kind::slow_mo);
  EXPECT_EQ(kind_of(clip_at(k4795), unplaced()), Kind::slow_mo);
  EXPECT_EQ(kind_of(clip_at(Rational(36000, 1001)), unplaced()), Kind::slow_mo);  // 1.5 times exactly
}

TEST(Classify, LetsTheSongDecideOverAHighFrameRate) {
  EXPECT_EQ(kind_of(clip_at(k11988, k11988), placed(30s)), Kind::performance);
  EXPECT_EQ(kind_of(clip_at(k4795), placed(30s, 2.0)), Kind::slow_mo);  // mimed to fast playback
  EXPECT_EQ(kind_of(clip_at(kEdit), placed(30s, 2.0)), Kind::performance);
}

TEST(Classify, TakesASongThatRepeatsForASong) {
  auto placement = placed(30s);
  placement.state = Placement::State::ambiguous;
  EXPECT_EQ(kind_of(clip_at(kEdit), placement), Kind::performance);
}

TEST(Classify, SaysNothingOfWhatCantBeRead) {
  ClipFacts facts;
  facts.problems.push_back({ProblemCode::incomplete, "C0003.MP4", "", "C0003.MP4 holds pictures but no index"});
  const auto judgement = classify(facts, unplaced(), kEdit);
  EXPECT_EQ(judgement.kind, std::nullopt);
  EXPECT_EQ(judgement.because, "C0003.MP4 holds pictures but no index");
  facts = clip_at(kEdit);
  facts.problems.push_back({ProblemCode::truncated, "C0003.MP4", "", "the end is missing"});
  EXPECT_EQ(kind_of(facts, placed(30s)), Kind::performance);
}

TEST(Classify, GivesTheNumbersThatDecided) {
  EXPECT_EQ(classify(clip_at(kEdit, k11988), unplaced(), kEdit).because,
            "recorded at 119.88 frames a second and plays at 23.976: 5 times slower");
  EXPECT_EQ(classify(clip_at(k11988), unplaced(), kEdit).because,
            "recorded at 119.88 frames a second, 5 times the edit's 23.976");
  EXPECT_EQ(classify(clip_at(kEdit), placed(30s), kEdit).because, "30.0 s of it lie in the song");
  EXPECT_EQ(classify(clip_at(k4795), placed(30s, 2), kEdit).because,
            "recorded at 47.952 frames a second, 2 times the edit's 23.976; 30.0 s of it lie in the song, played at 2 "
            "times its speed");
  EXPECT_EQ(classify(clip_at(kEdit), unplaced(), kEdit).because,
            "recorded at 23.976 frames a second, and its sound is not in the song");
  EXPECT_EQ(classify(ClipFacts{}, unplaced(Placement::State::no_audio), kEdit).because, "it has no sound");
  EXPECT_EQ(classify(clip_at(kEdit), placed(4s), kEdit).because,
            "recorded at 23.976 frames a second, and 4.0 s of it lie in the song, less than 10 s");
}

}  // namespace
}  // namespace everytake
