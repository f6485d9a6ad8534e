#include "coverage/coverage.h"
#include "support/rooms.h"
#include "support/small_plan.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <random>

namespace everytake {
namespace {

using namespace std::chrono_literals;
using test::section;
using test::small_plan;
using testing::ElementsAre;

Clip clip(std::optional<Kind> kind, Micros duration = 10s) {
  Clip clip;
  clip.judgement.kind = kind;
  clip.facts.duration = duration;
  clip.facts.frame_rate = Rational(24, 1);
  return clip;
}

Clip placed(std::optional<Kind> kind, std::vector<Span> spans) {
  Clip clip = everytake::clip(kind);
  clip.placement.state = Placement::State::placed;
  clip.placement.spans = std::move(spans);
  return clip;
}

Clip tagged(Kind kind, std::vector<std::string> sections, std::vector<std::string> members = {}, Micros length = 10s) {
  Clip clip = everytake::clip(kind, length);
  clip.sections = std::move(sections);
  clip.members = std::move(members);
  return clip;
}

std::vector<std::string> texts(const Coverage& coverage) {
  std::vector<std::string> all;
  for (const auto& gap : coverage.gaps) all.push_back(gap.text);
  return all;
}

TEST(Covered, IsTheUnionWithinTheSpan) {
  EXPECT_EQ(covered({}, {0s, 10s}), 0s);
  EXPECT_EQ(covered({{2s, 5s}, {4s, 6s}, {8s, 20s}, {-5s, 1s}}, {0s, 10s}), 7s);  // 0-1, 2-6, 8-10
  EXPECT_EQ(covered({{0s, 100s}, {3s, 4s}}, {2s, 5s}), 3s);
  EXPECT_EQ(covered({{5s, 3s}, {11s, 12s}}, {0s, 10s}), 0s);
}

TEST(Coverage, CountsATakeFromNineTenthsOfASectionOn) {
  const std::vector<Clip> clips{
      placed(Kind::performance, {{12s, 30s}}),              // 18 of 20 s: nine tenths
      placed(Kind::performance, {{12s + 1us, 30s}}),        // a hair less
      placed(Kind::performance, {{5s, 20s}, {20s, 45s}})};  // the verse, and 15 of the chorus' 20
  const auto result = coverage::coverage(small_plan(), clips);
  EXPECT_EQ(result.sections[0].takes, 2);
  EXPECT_EQ(result.sections[1].takes, 0);
  EXPECT_EQ(result.sections[0].covered, 20s);
  EXPECT_EQ(result.sections[1].covered, 15s);
}

TEST(Coverage, CoversWithPiecesThatAreNoTakes) {
  const std::vector<Clip> clips{placed(Kind::performance, {{10s, 20s}}), placed(Kind::performance, {{18s, 30s}})};
  const auto result = coverage::coverage(small_plan(), clips);
  EXPECT_EQ(result.sections[0].takes, 0);
  EXPECT_EQ(result.sections[0].covered, 20s);
}

TEST(Coverage, CountsOnlyClipsThatAreSurelyPlaced) {
  for (const auto state :
       {Placement::State::pending, Placement::State::ambiguous, Placement::State::none, Placement::State::no_audio}) {
    Clip clip = placed(Kind::performance, {{0s, 60s}});
    clip.placement.state = state;
    const auto result = coverage::coverage(small_plan(), std::vector{clip});
    EXPECT_EQ(result.sections[0].takes, 0);
    EXPECT_EQ(result.sections[0].covered, 0s);
  }
}

TEST(Coverage, CountsAClipOfUnknownKindNowhere) {
  Clip unknown = placed(std::nullopt, {{0s, 60s}});
  unknown.sections = {"Verse"};
  unknown.members = {"Ada"};
  unknown.look = "warm";
  const auto result = coverage::coverage(small_plan(), std::vector{unknown});
  EXPECT_EQ(result.sections[0].takes + result.sections[0].b_roll + result.sections[0].slow_mo, 0);
  EXPECT_EQ(result.sections[0].covered, 0s);
  EXPECT_THAT(result.sections[0].looks, ElementsAre());
  EXPECT_EQ(result.members[0].sections[0], 0);
}

TEST(Coverage, NeverCountsATagAsATake) {
  const auto result = coverage::coverage(small_plan(), std::vector{tagged(Kind::performance, {"Verse"})});
  EXPECT_EQ(result.sections[0].takes, 0);
}

TEST(Coverage, CountsBRollThatIsTaggedOrPlacedForASecond) {
  const std::vector<Clip> clips{
      tagged(Kind::b_roll, {"Verse"}, {}, 7s),
      placed(Kind::b_roll, {{28s, 31s}}),              // 2 s of the verse, 1 s of the chorus
      placed(Kind::b_roll, {{29s + 1us, 31s - 1us}}),  // less than a second of each
      tagged(Kind::b_roll, {"No such section"}),
      clip(Kind::b_roll),
  };
  const auto result = coverage::coverage(small_plan(), clips);
  EXPECT_EQ(result.sections[0].b_roll, 2);
  EXPECT_EQ(result.sections[0].b_roll_length, 9s);  // 7 on screen, 2 in the song
  EXPECT_EQ(result.sections[1].b_roll, 1);
  EXPECT_EQ(result.sections[1].b_roll_length, 1s);
  EXPECT_EQ(result.sections[0].slow_mo, 0);
}

// 4 s of a 120-frame file hold 480 frames; at an edit of 24 a second they last 20 s.
TEST(Coverage, CountsSlowMotionAsLongAsItIsOnScreen) {
  Clip conformed = tagged(Kind::slow_mo, {"Chorus"}, {"Ada"}, 4s);
  conformed.facts.frame_rate = Rational(120, 1);
  const auto result = coverage::coverage(small_plan(), std::vector{conformed});
  EXPECT_EQ(result.sections[1].slow_mo, 1);
  EXPECT_EQ(result.sections[1].slow_mo_length, 20s);
  EXPECT_EQ(result.members[0].have, 20s);
  EXPECT_EQ(result.members[0].kinds.at(Kind::slow_mo).clips, 1);
  EXPECT_EQ(result.members[0].kinds.at(Kind::slow_mo).on_screen, 20s);
}

// 10 s stored at half their rate were shot in 5 s: placed from 0:28 on they hold 2 s of the verse and 3 of the chorus,
// which are 4 and 6 s on screen.
TEST(Coverage, CountsPlacedSlowMotionByItsPartOfTheSong) {
  Clip slow = clip(Kind::slow_mo, 10s);
  slow.facts.capture_rate = Rational(48, 1);
  slow.facts.audio = false;
  slow.placement.state = Placement::State::placed;
  slow.placement.by = By::hand;
  slow.placement.start = 28s;
  lay_out_in_song(slow, small_plan().song.length);
  const auto result = coverage::coverage(small_plan(), std::vector{slow});
  EXPECT_EQ(result.sections[0].slow_mo, 1);
  EXPECT_EQ(result.sections[0].slow_mo_length, 4s);
  EXPECT_EQ(result.sections[1].slow_mo_length, 6s);
}

TEST(Coverage, AddsNothingForALengthThatIsUnknown) {
  Clip unknown = tagged(Kind::b_roll, {"Verse"}, {"Ada"});
  unknown.facts.duration = std::nullopt;
  const auto result = coverage::coverage(small_plan(), std::vector{unknown});
  EXPECT_EQ(result.sections[0].b_roll, 1);
  EXPECT_EQ(result.sections[0].b_roll_length, 0s);
  EXPECT_EQ(result.members[0].have, 0s);
}

TEST(Coverage, SumsAMembersBRollAndSlowMotionButNotPerformances) {
  const std::vector<Clip> clips{tagged(Kind::b_roll, {}, {"Ada", "Jonas"}, 12s), tagged(Kind::slow_mo, {}, {"Ada"}, 5s),
                                tagged(Kind::performance, {}, {"Ada"}, 100s)};
  const auto result = coverage::coverage(small_plan(), clips);
  EXPECT_EQ(result.members[0].have, 17s);
  EXPECT_EQ(result.members[0].kinds.at(Kind::performance).on_screen, 100s);
  EXPECT_EQ(result.members[1].have, 12s);
  EXPECT_EQ(result.members[1].kinds.at(Kind::performance).clips, 0);
}

TEST(Coverage, SaysNothingOfAMemberInASectionWithoutThem) {
  const auto result =
      coverage::coverage(small_plan(), std::vector{tagged(Kind::b_roll, {"Verse", "Chorus"}, {"Ada", "Jonas"})});
  EXPECT_THAT(result.members[0].sections, ElementsAre(1, 1));
  EXPECT_THAT(result.members[1].sections, ElementsAre(1, std::nullopt));
}

TEST(Coverage, WantsNothingOfAMemberWhoIsOnSetNowhere) {
  Plan p = small_plan();
  p.member_seconds = 30s;
  for (auto& s : p.sections) s.members = {"Ada"};
  const auto result = coverage::coverage(p, {});
  EXPECT_EQ(result.members[1].want, 0s);
  EXPECT_THAT(texts(result), ElementsAre("Ada: 30 s of b-roll or slow-mo"));
}

TEST(Coverage, ListsTheLooksOfEveryClipThatCountsInASectionOnce) {
  Clip warm = placed(Kind::performance, {{10s, 30s}}), cold = tagged(Kind::b_roll, {"Verse"});
  Clip again = tagged(Kind::slow_mo, {"Verse"});
  warm.look = "warm side light";
  cold.look = "cold";
  again.look = "cold";
  const auto result = coverage::coverage(small_plan(), std::vector{warm, cold, again, clip(Kind::b_roll)});
  EXPECT_THAT(result.sections[0].looks, ElementsAre("cold", "warm side light"));
  EXPECT_THAT(result.sections[1].looks, ElementsAre());
}

TEST(Coverage, GivesASectionNoLookOfATakeThatOnlyBeganEarly) {
  Clip early = placed(Kind::performance, {{22s, 50s}});  // 8 s of the verse, all of the chorus
  early.look = "warm";
  early.members = {"Ada"};
  const auto result = coverage::coverage(small_plan(), std::vector{early});
  EXPECT_THAT(result.sections[0].looks, ElementsAre());
  EXPECT_THAT(result.sections[1].looks, ElementsAre("warm"));
  EXPECT_THAT(result.members[0].sections, ElementsAre(0, 1));
}

Clip with_problem(Clip clip, const char* name, ProblemCode code) {
  clip.roll = "R001";
  clip.name = name;
  clip.facts.problems = {{code, "", "", "said elsewhere"}};
  return clip;
}

TEST(Coverage, NamesWhatItCountsThoughItsPictureIsInDoubt) {
  Clip black = with_problem(placed(Kind::performance, {{8s, 40s}}), "C0007", ProblemCode::black_picture);
  black.look = "warm";
  const Clip good = placed(Kind::performance, {{10s, 20s}, {22s, 30s}});
  const Clip cut = with_problem(tagged(Kind::b_roll, {"Chorus"}, {"Jonas"}, 7s), "C0004", ProblemCode::truncated);
  const auto result = coverage::coverage(small_plan(), std::vector{black, good, cut});
  EXPECT_EQ(result.sections[0].takes, 2);
  EXPECT_EQ(result.sections[0].in_doubt, (Doubt{.takes = 1, .looks = 1, .covered = true}));
  EXPECT_EQ(result.sections[1].in_doubt, (Doubt{.b_roll = 1, .covered = true}));
  EXPECT_EQ(result.members[0].in_doubt, 0s);
  EXPECT_EQ(result.members[1].in_doubt, 7s);
  ASSERT_EQ(result.in_doubt.size(), 2U);
  EXPECT_EQ(result.in_doubt[0].text, "R001/C0004: b-roll in Chorus, of Jonas; its end is missing");
  EXPECT_EQ(result.in_doubt[1].text, "R001/C0007: performance in Verse, Chorus; it is black wherever it was looked at");
  EXPECT_THAT(result.in_doubt[1].codes, ElementsAre(ProblemCode::black_picture));
}

TEST(Coverage, DoubtsNeitherOtherProblemsNorClipsThatCountNowhere) {
  const auto result = coverage::coverage(
      small_plan(),
      std::vector{with_problem(placed(Kind::performance, {{10s, 30s}}), "C0001", ProblemCode::clipped_sound),
                  with_problem(clip(Kind::b_roll), "C0002", ProblemCode::black_picture),
                  with_problem(tagged(Kind::b_roll, {"No such section"}), "C0003", ProblemCode::black_picture)});
  EXPECT_TRUE(result.in_doubt.empty());
  EXPECT_EQ(result.sections[0].in_doubt, Doubt{});
  EXPECT_EQ(result.problem_clips, 3);
}

TEST(Gaps, AreNoneWhereNothingIsWanted) {
  EXPECT_TRUE(coverage::coverage(small_plan(), {}).complete());
  EXPECT_TRUE(coverage::coverage(Plan{}, {}).complete());
}

TEST(Gaps, AreRankedByWhatTheSongNeedsMost) {
  Plan p = small_plan({.takes = 3, .b_roll = 2, .slow_mo = 1, .looks = 2});
  p.member_seconds = 30s;
  Clip take = placed(Kind::performance, {{9s, 31s}});
  take.look = "warm";
  const auto result = coverage::coverage(p, std::vector{take, tagged(Kind::b_roll, {"Chorus"}, {"Ada"}, 17'500ms)});
  EXPECT_THAT(texts(result), ElementsAre("Chorus: 3 takes, none yet",            // no take covers it
                                         "Verse: 2 more takes",                  // too few
                                         "Verse: 2 b-roll clips, none yet",      // no b-roll
                                         "Chorus: 1 more b-roll clip",           //
                                         "Jonas: 30 s of b-roll or slow-mo",     // short of seconds
                                         "Ada: 13 s more of b-roll or slow-mo",  // 12.5 s are missing
                                         "Verse: 1 slow-mo clip, none yet", "Chorus: 1 slow-mo clip, none yet",
                                         "Chorus: 2 looks, none yet", "Verse: 1 more look"));
  EXPECT_FALSE(result.complete());
  EXPECT_EQ(result.gaps[0].section, "Chorus");
  EXPECT_EQ(result.gaps[0].kind, Kind::performance);
  EXPECT_EQ(result.gaps[5].member, "Ada");
  EXPECT_EQ(result.gaps[5].have, 17.5);
}

TEST(Gaps, CloseWhenWhatIsWantedIsThere) {
  Plan p = small_plan({.takes = 1, .b_roll = 1, .slow_mo = 1, .looks = 1});
  p.member_seconds = 10s;
  Clip take = placed(Kind::performance, {{0s, 60s}});
  take.look = "warm";
  const std::vector<Clip> clips{take, tagged(Kind::b_roll, {"Verse", "Chorus"}, {"Ada"}),
                                tagged(Kind::slow_mo, {"Verse", "Chorus"}, {"Jonas"})};
  EXPECT_THAT(texts(coverage::coverage(p, clips)), ElementsAre());
}

// ---- What holds for every shoot -----------------------------------------------------------------------------------

struct Shoot {
  Plan plan;
  std::vector<Clip> clips;
};

Shoot random_shoot(std::mt19937& random) {
  const auto below = [&](int n) { return std::uniform_int_distribution<int>(0, n - 1)(random); };
  Shoot shoot{small_plan({.takes = below(4), .b_roll = below(3), .slow_mo = below(3), .looks = below(3)}), {}};
  shoot.plan.member_seconds = Micros(below(40'000'000));
  for (int i = below(12); i > 0; --i) {
    Clip clip =
        everytake::clip(below(8) == 0 ? std::nullopt : std::optional(kKinds[below(3)]), Micros(below(30'000'000)));
    if (below(2) == 0) clip.placement.state = Placement::State::placed;
    for (int k = below(4); k > 0; --k) {
      const Micros start(below(60'000'000) - 5'000'000);
      clip.placement.spans.push_back({start, start + Micros(below(30'000'000))});
    }
    for (const char* name : {"Verse", "Chorus", "Gone"})
      if (below(4) == 0) clip.sections.push_back(name);
    for (const char* name : {"Ada", "Jonas", "Nobody"})
      if (below(3) == 0) clip.members.push_back(name);
    if (below(2) == 0) clip.look = std::string(1, static_cast<char>('a' + below(3)));
    shoot.clips.push_back(std::move(clip));
  }
  return shoot;
}

// The union, counted millisecond by millisecond.
Micros sampled(const std::vector<Clip>& clips, Span within) {
  Micros total{};
  for (Micros t = within.start; t < within.end; t += 1ms)
    total += 1ms * std::any_of(clips.begin(), clips.end(), [&](const Clip& clip) {
               const auto& spans = clip.placement.spans;
               return clip.judgement.kind == Kind::performance && clip.placement.state == Placement::State::placed &&
                      std::any_of(spans.begin(), spans.end(), [&](Span s) { return s.start <= t && t < s.end; });
             });
  return total;
}

TEST(CoverageOfAnyShoot, AgreesWithCountingEveryMillisecond) {
  std::mt19937 random(3);
  for (int i = 0; i < 60; ++i) {
    const auto [plan, clips] = random_shoot(random);
    for (const auto& section : coverage::coverage(plan, clips).sections) {
      EXPECT_LE(section.covered, section.span.length());
      EXPECT_NEAR(seconds(section.covered), seconds(sampled(clips, section.span)), 0.04);  // a millisecond an edge
    }
  }
}

TEST(CoverageOfAnyShoot, DoesNotDependOnTheOrderOfClips) {
  std::mt19937 random(4);
  for (int i = 0; i < 300; ++i) {
    auto [plan, clips] = random_shoot(random);
    const auto before = coverage::coverage(plan, clips);
    std::shuffle(clips.begin(), clips.end(), random);
    const auto after = coverage::coverage(plan, clips);
    EXPECT_EQ(texts(before), texts(after));
    for (std::size_t s = 0; s < before.sections.size(); ++s) {
      EXPECT_EQ(before.sections[s].covered, after.sections[s].covered);
      EXPECT_EQ(before.sections[s].looks, after.sections[s].looks);
    }
  }
}

TEST(CoverageOfAnyShoot, NeverGetsWorseByOneClipMore) {
  std::mt19937 random(5);
  for (int i = 0; i < 300; ++i) {
    auto [plan, clips] = random_shoot(random);
    if (clips.empty()) continue;
    const auto with = coverage::coverage(plan, clips);
    clips.pop_back();
    const auto without = coverage::coverage(plan, clips);
    EXPECT_LE(with.gaps.size(), without.gaps.size());
    for (std::size_t s = 0; s < with.sections.size(); ++s) {
      EXPECT_GE(with.sections[s].takes, without.sections[s].takes);
      EXPECT_GE(with.sections[s].b_roll, without.sections[s].b_roll);
      EXPECT_GE(with.sections[s].covered, without.sections[s].covered);
    }
    for (std::size_t m = 0; m < with.members.size(); ++m) EXPECT_GE(with.members[m].have, without.members[m].have);
  }
}

TEST(CoverageOfAnyShoot, HasAGapExactlyWhereLessIsThereThanWanted) {
  std::mt19937 random(6);
  for (int i = 0; i < 300; ++i) {
    const auto [plan, clips] = random_shoot(random);
    const auto result = coverage::coverage(plan, clips);
    std::size_t expected = 0;
    for (const auto& s : result.sections)
      expected += (s.takes < s.want.takes) + (s.b_roll < s.want.b_roll) + (s.slow_mo < s.want.slow_mo) +
                  (static_cast<int>(s.looks.size()) < s.want.looks);
    for (const auto& m : result.members) expected += m.have < m.want;
    EXPECT_EQ(result.gaps.size(), expected);
    for (const auto& gap : result.gaps) EXPECT_LT(gap.have, gap.want);
  }
}

TEST(Coverage, CountsARecordingOnceHoweverManyCopiesOfItThereAre) {
  auto one = tagged(Kind::b_roll, {"Verse"});
  one.id = ClipId{1};
  one.digest = Digest{{5}};
  auto again = one;
  again.id = ClipId{2};
  again.sections = {"Verse", "Chorus"};  // of it more was said
  const auto result = coverage::coverage(small_plan(), std::vector{one, again});
  int b_roll = 0;
  for (const auto& section : result.sections) b_roll += section.b_roll;
  EXPECT_EQ(b_roll, 2);  // once in each
  again.digest = Digest{{6}};
  EXPECT_EQ(coverage::coverage(small_plan(), std::vector{one, again}).sections[0].b_roll, 2);
}

}  // namespace
}  // namespace everytake
