// Runs by hand arithmetic: what a run gains is added up, and divided by its playback and a minute to set up.
#include "coverage/runs.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <rapidcheck.h>

#include <algorithm>
#include <map>

#include "support/rooms.h"
#include "support/small_plan.h"

namespace everytake {
namespace {

using namespace std::chrono_literals;
using coverage::Run;
using test::section;
using test::small_plan;
using testing::ElementsAre;

Clip take(std::vector<Span> spans) {
  Clip clip;
  clip.judgement.kind = Kind::performance;
  clip.facts.duration = 40s;
  clip.placement.state = Placement::State::placed;
  clip.placement.spans = std::move(spans);
  return clip;
}

std::vector<Run> runs(const Plan& plan, std::span<const Clip> clips = {}) {
  return coverage::next_runs(plan, coverage::coverage(plan, clips));
}

std::vector<std::string> texts(const std::vector<Run>& runs) {
  std::vector<std::string> all;
  for (const auto& run : runs) all.push_back(run.text());
  return all;
}

// First takes weigh 8. Verse alone: 8 ÷ (60 + 20) s; both: 16 ÷ (60 + 40) s, more. Then 8 ÷ 100 s against 4 ÷ 80 s.
TEST(NextRuns, GoThroughTheSongWhereAllOfItIsShort) {
  EXPECT_THAT(texts(runs(small_plan({.takes = 2}))),
              ElementsAre("Twice through with everybody, wide (1:20): +2 takes in both sections"));
}

TEST(NextRuns, StayWhereSomethingIsShort) {
  const std::vector<Clip> clips{take({{30s, 50s}})};
  EXPECT_THAT(texts(runs(small_plan({.takes = 1}), clips)), ElementsAre("Verse with everybody, wide (0:20): +1 take"));
  const std::vector<Clip> both{take({{10s, 30s}})};
  EXPECT_THAT(texts(runs(small_plan({.takes = 1}), both)), ElementsAre("Chorus, Ada (0:20): +1 take"));
}

// Ada through both: 2 × 3 for b-roll and 2 for all of her 30 s, ÷ 100 s. Jonas is on set in the verse alone: 20 s of
// his 30, then 10.
TEST(NextRuns, GiveEachMemberTheirSeconds) {
  EXPECT_THAT(texts(runs(small_plan({.b_roll = 1}, 30s))),
              ElementsAre("Once through, Ada, b-roll (0:40): +1 b-roll clip in both sections, +30 s of Ada on screen",
                          "Verse, twice, Jonas, b-roll (0:40): +30 s of Jonas on screen"));
}

// Played at twice its speed the song takes half as long to shoot.
TEST(NextRuns, ShootSlowMotionAtTheFastestPlayback) {
  auto fast = small_plan({.slow_mo = 1});
  fast.song.playback_speeds = {1, 2};
  const auto found = runs(fast);
  EXPECT_THAT(
      texts(found),
      ElementsAre(
          "Once through, Ada, slow motion, song played at 2 times its speed (0:20): +1 slow-mo clip in both sections"));
  EXPECT_EQ(found[0].speed, 2);
  EXPECT_EQ(found[0].kind, Kind::slow_mo);
  EXPECT_THAT(found[0].members, ElementsAre("Ada"));
  EXPECT_EQ(found[0].span, (Span{10s, 50s}));
}

TEST(NextRuns, AskForAnotherLookWhereLooksAreShort) {
  EXPECT_THAT(texts(runs(small_plan({.takes = 1, .looks = 1}))),
              ElementsAre("Once through with everybody, wide, in another look (0:40): +1 take in both sections, +1 "
                          "look in both sections"));
}

TEST(NextRuns, CallNobodyWhoIsNotNeeded) {
  auto duet = small_plan({.takes = 1});
  duet.members.push_back({"Mirjam", "bass"});
  EXPECT_THAT(texts(runs(duet)), ElementsAre("Once through with Ada, Jonas, wide (0:40): +1 take in both sections"));
}

TEST(NextRuns, AreNoneWhereNothingIsMissing) {
  EXPECT_TRUE(runs(small_plan({})).empty());
  auto bare = small_plan({.takes = 1});
  bare.sections.clear();
  EXPECT_TRUE(runs(bare).empty());
}

TEST(NextRuns, NameNobodyWhereThePlanNamesNobody) {
  auto nobody = small_plan({.takes = 1, .b_roll = 1});
  nobody.members.clear();
  for (auto& each : nobody.sections) each.members.clear();
  EXPECT_THAT(texts(runs(nobody)), ElementsAre("Once through (0:40): +1 take in both sections",
                                               "Once through, b-roll (0:40): +1 b-roll clip in both sections"));
}

// Whatever the plan: the runs bring what is missing, no more and no less, and nobody is asked for where they are not.
TEST(NextRuns, FillEveryGapAndAskForNobodyWhoIsNotThere) {
  EXPECT_TRUE(rc::check([] {
    Plan drawn;
    drawn.song.length = 10min;
    drawn.song.playback_speeds = *rc::gen::element(std::vector<double>{1}, std::vector<double>{1, 2});
    const int members = *rc::gen::inRange(0, 4);
    for (int m = 0; m < members; ++m) drawn.members.push_back({std::string(1, static_cast<char>('A' + m)), ""});
    drawn.member_seconds = std::chrono::seconds(*rc::gen::inRange(0, 60));
    const auto few = rc::gen::inRange(0, 4);
    Micros at = 0s;
    for (int s = 0, sections = *rc::gen::inRange(1, 6); s < sections; ++s) {
      std::vector<std::string> here;
      for (const auto& member : drawn.members)
        if (*rc::gen::arbitrary<bool>()) here.push_back(member.name);
      const Micros end = at + std::chrono::seconds(*rc::gen::inRange(5, 40));
      drawn.sections.push_back(section("S" + std::to_string(s), {at, end}, {*few, *few, *few, *few}, here));
      at = end;
    }
    const auto covered = coverage::coverage(drawn, {});
    const auto found = coverage::next_runs(drawn, covered);
    using Target = std::pair<std::string, std::string>;  // a section and what of it; a member's seconds
    std::map<Target, double> brought;
    for (const auto& run : found) {
      for (const auto& fill : run.fills)
        brought[{fill.section.value_or(""), fill.member ? *fill.member
                                            : fill.kind ? to_string(*fill.kind)
                                                        : "looks"}] += fill.count;
      if (run.kind == Kind::performance) continue;
      for (const auto& each : drawn.sections)
        if (each.span.start >= run.span.start && each.span.end <= run.span.end)
          for (const auto& member : run.members)
            RC_ASSERT(std::ranges::find(each.members, member) != each.members.end());
    }
    for (const auto& each : drawn.sections) {
      RC_ASSERT(brought[Target(each.name, "performance")] == each.want.takes);
      RC_ASSERT(brought[Target(each.name, "b-roll")] == each.want.b_roll);
      RC_ASSERT(brought[Target(each.name, "slow-mo")] == each.want.slow_mo);
      RC_ASSERT(brought[Target(each.name, "looks")] == each.want.looks);
    }
    for (const auto& member : covered.members)
      RC_ASSERT(std::abs(brought[Target("", member.name)] - std::chrono::duration<double>(member.want).count()) < 1e-3);
  }));
}

}  // namespace
}  // namespace everytake
