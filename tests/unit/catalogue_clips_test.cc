#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "catalogue/catalogue.h"
#include "support/clip_facts.h"
#include "support/rooms.h"
#include "support/shoot_rows.h"

namespace everytake {
namespace {

using namespace std::chrono_literals;
using test::kNoon;
using test::must;
using testing::ElementsAre;
using testing::IsEmpty;
using Act = MarkChange::Act;

class Clips : public testing::Test {
 protected:
  Catalogue& catalogue() { return rows_.catalogue(); }
  Clip clip(ClipId id) { return must(catalogue().clip(id)); }
  void mark(ClipId id, Field field, const std::string& value, Act act = Act::set) {
    const HandEdit edit{id, {{field, act, value}}, std::nullopt, false};
    must(catalogue().edit(std::span(&edit, 1)));
  }
  // A mark by another voice, as no command makes it yet.
  void setup_mark(ClipId id, const std::string& field, const std::string& value) {
    auto db = must(Db::open(rows_.file(), {}));
    must(db.run("INSERT INTO mark (clip_id, field, value, by, because) VALUES (?, ?, ?, 'setup', 'setup 3')", id, field,
                value));
  }

  test::ShootRows rows_;
};

TEST_F(Clips, AreReadBackWithEveryFact) {
  const auto id = rows_.clips({"C0001"}).front();
  must(catalogue().record_facts(id, test::every_fact(), kNoon));
  const auto read = clip(id);
  EXPECT_EQ(read.id, id);
  EXPECT_EQ(read.roll, "R001");
  EXPECT_EQ(read.name, "C0001");
  EXPECT_EQ(read.path, "CLIP/C0001.MP4");
  EXPECT_EQ(read.size, 1000U);
  EXPECT_EQ(read.digest->hex(), "00000000000000000000000000000001");
  test::expect_same(read.facts, test::every_fact());
}

// By the schema's words: other programs read them too, and catalogues that are there already.
TEST_F(Clips, StandInTheColumnsOfTheirFacts) {
  const auto id = rows_.clips({"C0001"}).front();
  ClipFacts facts;
  facts.duration = 12'345'678us;
  facts.frame_rate = Rational(24000, 1001);
  facts.drop_frame = false;
  facts.recorded_at = kNoon - 1us;
  facts.shutter = Rational(1, 48);
  facts.white_balance = 4300;
  facts.levels = {1'185'185, -12.25, 0.0625};
  facts.frames_seen = {5, 1};
  facts.origin = {{"gamma", "sidecar"}};
  must(catalogue().record_facts(id, facts, kNoon));
  auto db = must(Db::open(rows_.file(), {}));
  EXPECT_EQ(must(db.one<std::string>(
                "SELECT json_array(studied_at, duration_us, frame_rate, capture_rate, drop_frame, recorded_at, shutter,"
                " white_balance, sound_samples, sound_peak_db, sound_clipped, frames_seen, frames_black, origin)"
                " FROM clip")),
            R"([1773489600000000,12345678,"24000/1001",null,0,1773489599999999,"1/48",)"
            R"(4300,1185185,-12.25,0.0625,5,1,"{\"gamma\":\"sidecar\"}"])");
}

TEST_F(Clips, KeepTheirLevelsAndFramesApart) {
  const auto id = rows_.clips({"C0001"}).front();
  must(catalogue().record_facts(id, ClipFacts{}, kNoon));
  must(catalogue().record_levels(id, {100, -20, 0.5}));
  EXPECT_EQ(clip(id).facts.levels, (SoundLevels{100, -20, 0.5}));
  EXPECT_FALSE(clip(id).facts.frames_seen);
  must(catalogue().record_frames(id, {4, 0}));
  EXPECT_EQ(clip(id).facts.frames_seen, (FramesSeen{4, 0}));
  EXPECT_EQ(clip(id).facts.levels, (SoundLevels{100, -20, 0.5}));
  EXPECT_EQ(catalogue().record_levels(ClipId{id.value + 1}, {}).error().code, Code::not_found);
}

TEST_F(Clips, WhatIsUnknownStaysUnknown) {
  const auto id = rows_.clips({"C0001"}).front();
  must(catalogue().record_facts(id, test::every_fact(), kNoon));
  must(catalogue().record_facts(id, ClipFacts{}, kNoon));
  test::expect_same(clip(id).facts, ClipFacts{});
  EXPECT_FALSE(clip(id).judgement.kind || clip(id).look || clip(id).rating);
  EXPECT_EQ(clip(id).placement.state, Placement::State::pending);
}

TEST_F(Clips, AreToBeStudiedUntilTheyWere) {
  const auto ids = rows_.clips({"C0001", "C0002"});
  auto pending = must(catalogue().clips_to_study({}));
  ASSERT_EQ(pending.size(), 2U);
  EXPECT_EQ(pending[0].id, ids[0]);
  EXPECT_EQ(pending[0].roll, "R001");
  EXPECT_EQ(pending[0].files.name, "C0001");
  ASSERT_EQ(pending[0].files.parts.size(), 1U);
  EXPECT_EQ(pending[0].files.parts[0].path, "CLIP/C0001.MP4");
  must(catalogue().record_facts(ids[0], ClipFacts{}, kNoon));
  pending = must(catalogue().clips_to_study({}));
  ASSERT_EQ(pending.size(), 1U);
  EXPECT_EQ(pending[0].id, ids[1]);
  const ClipId both[] = {ids[1], ids[0]};
  pending = must(catalogue().clips_to_study(both));
  ASSERT_EQ(pending.size(), 2U);
  EXPECT_EQ(pending[1].id, ids[0]);
}

// A clip of A_1.MP4, A_2.MP4 and A_1.XML, of which `parts` are found.
class Spanned : public Clips {
 protected:
  ClipId put(std::size_t parts) {
    ClipFiles clip{"A", {{"A_1.MP4", FileRole::video}, {"A_2.MP4", FileRole::video}, {"A_1.XML", FileRole::sidecar}}};
    clip.parts.resize(parts);
    return must(catalogue().put_clips(std::span(&clip, 1),
                                      {{"A_1.MP4", files_[0]}, {"A_2.MP4", files_[1]}, {"A_1.XML", files_[2]}}))
        .front();
  }
  std::vector<FileId> files_ = rows_.visit({"A_1.MP4", "A_2.MP4", "A_1.XML"});
};

TEST_F(Spanned, IsKnownAgainByItsFirstFile) {
  const auto id = put(3);
  must(catalogue().record_facts(id, test::every_fact(), kNoon));
  EXPECT_EQ(put(3), id);
  EXPECT_EQ(clip(id).facts.codec, test::every_fact().codec);
  EXPECT_THAT(must(catalogue().clips_to_study({})), IsEmpty());
}

TEST_F(Spanned, IsStudiedAgainWhenItGetsAFileItDidNotHave) {
  const auto id = put(2);
  must(catalogue().record_facts(id, test::every_fact(), kNoon));
  put(3);
  const auto pending = must(catalogue().clips_to_study({}));
  ASSERT_EQ(pending.size(), 1U);
  ASSERT_EQ(pending[0].files.parts.size(), 3U);
  EXPECT_EQ(pending[0].files.parts[2].role, FileRole::sidecar);
  EXPECT_EQ(clip(id).facts.codec, test::every_fact().codec);  // what was found stays until then
  must(catalogue().record_facts(id, test::every_fact(), kNoon));
  put(2);  // a file that is gone from the card is still copied
  EXPECT_THAT(must(catalogue().clips_to_study({})), IsEmpty());
}

TEST_F(Spanned, CountsAllItsVideosAndIsAsSafeAsTheWorst) {
  const auto id = put(3);
  rows_.put_copies({files_[0]});
  rows_.put_copies({files_[1]}, CopyState::copied);
  EXPECT_EQ(clip(id).size, 2000U);
  ASSERT_EQ(clip(id).copies.size(), 2U);
  EXPECT_EQ(clip(id).copies[0].state, CopyState::copied);
  EXPECT_FALSE(clip(id).copies[0].verified_at);
  EXPECT_EQ(clip(id).copies[0].path, rows_.folder() / "desk/saltmarsh-radio/R001/A_1.MP4");
  rows_.put_copies({files_[1]});
  EXPECT_EQ(clip(id).copies[1].state, CopyState::verified);
  EXPECT_EQ(clip(id).copies[1].verified_at, kNoon + 1min);
}

TEST_F(Spanned, IsNotVerifiedWhereOneOfItsVideosHasNoCopy) {
  const auto id = put(2);
  rows_.put_copies({files_[0]});
  EXPECT_EQ(clip(id).copies.at(0).state, CopyState::planned);
}

TEST_F(Clips, WithoutAKnownFileAreLeftOut) {
  const std::vector<ClipFiles> found{{"A", {{"A.MP4", FileRole::video}}}, {"B", {{"B.MP4", FileRole::video}}}};
  const auto file = rows_.visit({"B.MP4"}).front();
  EXPECT_EQ(must(catalogue().put_clips(found, {{"B.MP4", file}})).size(), 1U);
  EXPECT_EQ(must(catalogue().clips()).at(0).name, "B");
  EXPECT_EQ(catalogue().put_clips(std::vector<ClipFiles>{{"C", {}}}, {}).error().code, Code::invalid);
}

TEST_F(Clips, ComeSortedByRollAndPath) {
  rows_.clips({"C0002", "C0001"});
  rows_.clips({"C0000"});
  std::vector<std::string> names;
  for (const auto& each : must(catalogue().clips())) names.push_back(each.roll + "/" + each.name);
  EXPECT_THAT(names, ElementsAre("R001/C0001", "R001/C0002", "R002/C0000"));
}

TEST_F(Clips, HearTheHandBeforeASetupAndASetupBeforeARule) {
  const auto id = rows_.clips({"C0001"}).front();
  must(catalogue().record_rule(id, {Kind::slow_mo, By::rule, "recorded at 120 frames a second"}));
  EXPECT_EQ(clip(id).judgement.kind, Kind::slow_mo);
  EXPECT_EQ(clip(id).judgement.because, "recorded at 120 frames a second");
  setup_mark(id, "kind", "b-roll");
  EXPECT_EQ(clip(id).judgement.kind, Kind::b_roll);
  EXPECT_EQ(clip(id).judgement.by, By::setup);
  mark(id, Field::kind, "performance");
  EXPECT_EQ(clip(id).judgement.kind, Kind::performance);
  EXPECT_EQ(clip(id).judgement.by, By::hand);
  must(catalogue().record_rule(id, {Kind::slow_mo, By::rule, "studied again"}));
  EXPECT_EQ(clip(id).judgement.kind, Kind::performance);
  mark(id, Field::kind, "", Act::clear);
  EXPECT_EQ(clip(id).judgement.kind, Kind::b_roll);
}

TEST_F(Clips, KeepWhyNothingCanBeSaidOfThem) {
  const auto id = rows_.clips({"C0001"}).front();
  must(catalogue().record_rule(id, {std::nullopt, By::rule, "the file can't be read"}));
  EXPECT_FALSE(clip(id).judgement.kind);
  EXPECT_EQ(clip(id).judgement.because, "the file can't be read");
}

TEST_F(Clips, TakeTheirMarks) {
  const auto id = rows_.clips({"C0001"}).front();
  mark(id, Field::member, "Jonas");
  mark(id, Field::member, "Ada");
  mark(id, Field::member, "Ada");
  mark(id, Field::section, "Verse 1");
  mark(id, Field::look, "cold");
  mark(id, Field::look, "warm side light");
  mark(id, Field::angle, "low");
  mark(id, Field::note, "hand held; \"nice\"");
  mark(id, Field::rating, "5");
  auto read = clip(id);
  EXPECT_THAT(read.members, ElementsAre("Ada", "Jonas"));
  EXPECT_THAT(read.sections, ElementsAre("Verse 1"));
  EXPECT_EQ(read.look, "warm side light");
  EXPECT_EQ(read.angle, "low");
  EXPECT_EQ(read.note, "hand held; \"nice\"");
  EXPECT_EQ(read.rating, 5);
  mark(id, Field::member, "Ada", Act::remove);
  mark(id, Field::look, "", Act::clear);
  read = clip(id);
  EXPECT_THAT(read.members, ElementsAre("Jonas"));
  EXPECT_EQ(read.look, std::nullopt);
}

TEST_F(Clips, TheHandAddsToAndTakesFromWhatASetupSaid) {
  const auto id = rows_.clips({"C0001"}).front();
  setup_mark(id, "member", "Ada");
  mark(id, Field::member, "Jonas");
  EXPECT_THAT(clip(id).members, ElementsAre("Ada", "Jonas"));
  mark(id, Field::member, "Jonas", Act::remove);
  mark(id, Field::member, "Ada", Act::remove);
  EXPECT_THAT(clip(id).members, IsEmpty());  // although the setup still says Ada
  mark(id, Field::member, "", Act::clear);
  EXPECT_THAT(clip(id).members, ElementsAre("Ada"));
}

TEST_F(Clips, AreEditedAllOrNone) {
  const auto id = rows_.clips({"C0001"}).front();
  const HandEdit edits[] = {{id, {{Field::look, Act::set, "cold"}}, std::nullopt, false},
                            {ClipId{77}, {{Field::look, Act::set, "cold"}}, std::nullopt, false}};
  EXPECT_EQ(catalogue().edit(edits).error().code, Code::not_found);
  EXPECT_FALSE(clip(id).look);
}

TEST_F(Clips, LieWhereTheHandPutThemElseWhereTheRuleDid) {
  const auto id = rows_.clips({"C0001"}).front();
  Placement rule{
      Placement::State::ambiguous,          By::rule,    -2'500'000us, 1, 12.5, 0.25, {{0us, 1s}, {5s, 6'000'001us}},
      {{-2'500'000us, 0.25}, {40s, 0.125}}, "R001/C0009"};
  must(catalogue().record_placement(id, rule));
  auto read = clip(id).placement;
  EXPECT_EQ(read.state, rule.state);
  EXPECT_EQ(read.by, By::rule);
  EXPECT_EQ(read.start, rule.start);
  EXPECT_EQ(read.drift_ppm, 12.5);
  EXPECT_EQ(read.confidence, 0.25);
  EXPECT_EQ(read.spans, rule.spans);
  ASSERT_EQ(read.candidates.size(), 2U);
  EXPECT_EQ(read.candidates[1].start, 40s);
  EXPECT_EQ(read.candidates[1].confidence, 0.125);
  EXPECT_EQ(read.settled_by, "R001/C0009");
  Placement hand{Placement::State::placed, By::hand, 12s, 2, 0, std::nullopt, {{12s, 20s}}, {}, ""};
  HandEdit edit{id, {}, hand, false};
  must(catalogue().edit(std::span(&edit, 1)));
  read = clip(id).placement;
  EXPECT_EQ(read.by, By::hand);
  EXPECT_EQ(read.state, Placement::State::placed);
  EXPECT_EQ(read.speed, 2);
  EXPECT_FALSE(read.confidence);
  EXPECT_THAT(read.candidates, IsEmpty());
  rule.state = Placement::State::none;
  must(catalogue().record_placement(id, rule));
  EXPECT_EQ(clip(id).placement.state, Placement::State::placed);
  edit = {id, {}, std::nullopt, true};
  must(catalogue().edit(std::span(&edit, 1)));
  EXPECT_EQ(clip(id).placement.state, Placement::State::none);
  rule.state = Placement::State::pending;
  must(catalogue().record_placement(id, rule));
  EXPECT_EQ(clip(id).placement.state, Placement::State::pending);
}

// Rows of a start said by hand that were written before slow motion was reckoned with, or before a clip's rates were
// known: 6 s of 119.88 frames a second stored at 23.976 hold 1.2 s of song, not 6.
TEST_F(Clips, LieAnewWhereTheHandPutThemWheneverTheyAreRead) {
  const auto id = rows_.clips({"C0001"}).front();
  const Placement old{Placement::State::placed, By::hand, 31s, 1, 0, std::nullopt, {{31s, 37s}}, {}, ""};
  const HandEdit edit{id, {}, old, false};
  must(catalogue().edit(std::span(&edit, 1)));
  EXPECT_THAT(clip(id).placement.spans, IsEmpty());  // nothing is known of it yet
  ClipFacts facts;
  facts.duration = 6s;
  facts.frame_rate = Rational(24000, 1001);
  facts.capture_rate = Rational(120000, 1001);
  facts.audio = false;
  must(catalogue().record_facts(id, facts, test::kNoon));
  EXPECT_EQ(clip(id).placement.spans, (std::vector<Span>{{31s, 32'200ms}}));
  facts.capture_rate = facts.frame_rate;  // studied again
  must(catalogue().record_facts(id, facts, test::kNoon));
  EXPECT_EQ(must(catalogue().clips()).at(0).placement.spans, (std::vector<Span>{{31s, 37s}}));
}

TEST_F(Clips, ShowTheProblemsOfTheirFiles) {
  const auto id = rows_.clips({"C0001", "C0002"})[1];
  const RollId roll{1};
  const Problem problems[] = {{ProblemCode::unreadable, "CLIP/C0002.MP4", "", "can't be read from byte 4096 on"},
                              {ProblemCode::not_a_file, "CLIP/link", "", "a link"}};
  must(catalogue().record_problems(roll, problems, kNoon));
  const Problem own{ProblemCode::timecode_invalid, "", "", "it has no timecode"};
  ClipFacts facts;
  facts.problems.push_back(own);
  must(catalogue().record_facts(id, facts, kNoon));
  EXPECT_THAT(clip(id).facts.problems, ElementsAre(problems[0], own));
}

TEST_F(Clips, AreFoundByName) {
  const auto ids = rows_.clips({"C0001", "C0002"});
  EXPECT_EQ(must(catalogue().find_clip("c0002")), ids[1]);
  EXPECT_EQ(must(catalogue().find_clip("R001/C0001")), ids[0]);
  EXPECT_EQ(catalogue().find_clip("C9").error().code, Code::not_found);
  EXPECT_EQ(catalogue().clip(ClipId{9}).error().code, Code::not_found);
}

}  // namespace
}  // namespace everytake
