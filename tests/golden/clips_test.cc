// find, show, rolls, tag and study as a person reads them.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "base/json.h"
#include "base/text.h"
#include "media/container/timecode.h"
#include "support/call.h"
#include "support/golden.h"
#include "support/rooms.h"
#include "support/shoot_rows.h"

namespace everytake {
namespace {

using namespace std::chrono_literals;
using test::call;
using test::Called;
using test::expect_golden;
using test::get_file;
using test::must;
using test::put_file;
using testing::ElementsAre;
using testing::HasSubstr;

// Two rolls of the invented shoot: a placed take, slow motion, b-roll with another gamma, and a clip that was cut off.
class Clips : public testing::Test {
 protected:
  Clips() {
    put_file(rows_.folder() / "shoot.toml", get_file(Path(EVERYTAKE_SOURCE_DIR) / "tests/golden/saltmarsh.toml"));
    ids_ = rows_.clips({"C0001", "C0002", "C0003"});
    ids_.push_back(rows_.clips({"C0001"}, "card-2").at(0));
    take();
    slow_motion();
    other_gamma();
    cut_off();
  }

  Called run(std::vector<std::string> arguments) const {
    auto called = call(std::move(arguments), rows_.folder());
    const auto folder = rows_.folder().string();
    for (auto at = called.out.find(folder); at != std::string::npos; at = called.out.find(folder))
      called.out.replace(at, folder.size(), "FOLDER");
    return called;
  }

  std::vector<std::string> names(const std::vector<std::string>& filter) const {
    std::vector<std::string> arguments{"find", "--json"};
    arguments.insert(arguments.end(), filter.begin(), filter.end());
    std::vector<std::string> found;
    const auto called = run(arguments);
    EXPECT_EQ(called.exit, 0) << called.err;
    const auto json = Json::parse(called.out);
    for (const auto& clip : json["clips"])
      found.push_back(clip["roll"].get<std::string>() + "/" + clip["name"].get<std::string>());
    return found;
  }

  static ClipFacts facts(Rational rate, Rational capture, Micros duration) {
    ClipFacts known;
    known.frame_rate = rate;
    known.capture_rate = capture;
    known.duration = duration;
    known.frames = static_cast<std::int64_t>(seconds(duration) * rate.value() + 0.5);
    known.width = 3840;
    known.height = 2160;
    known.codec = "h264";
    known.bit_depth = 10;
    known.gamma = "s-log3-cine";
    known.gamut = "s-gamut3-cine";
    known.origin = {{"gamma", "sidecar"}, {"capture_rate", "sidecar"}};
    known.camera = "L-1";
    known.audio = true;
    return known;
  }

  void put(std::size_t clip, const ClipFacts& known, Kind kind, const char* because, const Placement& placement,
           const std::vector<MarkChange>& marks) {
    must(rows_.catalogue().record_facts(ids_[clip], known, test::kNoon));
    must(rows_.catalogue().record_placement(ids_[clip], placement));
    must(rows_.catalogue().record_rule(ids_[clip], {kind, By::rule, because}));
    must(rows_.catalogue().edit(std::vector{HandEdit{ids_[clip], marks, {}, false}}));
  }

  static MarkChange mark(Field field, std::string value) { return {field, MarkChange::Act::set, std::move(value)}; }

  void take() {
    auto known = facts({24000, 1001}, {24000, 1001}, 44s);
    known.timecode = "11:08:46:21";
    known.drop_frame = false;
    known.recorded_at = test::kNoon - 1h;
    known.iso = 12800;
    known.shutter = Rational(1, 50);
    known.white_balance = 4300;
    Placement placed;
    placed.state = Placement::State::placed;
    placed.start = -2s;
    placed.confidence = 31.5;
    placed.spans = {{0s, 42s}};
    put(0, known, Kind::performance, "42 s of it lie in the song", placed,
        {mark(Field::member, "Ada"), mark(Field::member, "Jonas"), mark(Field::look, "warm side light")});
  }

  void slow_motion() {
    auto known = facts({24000, 1001}, {120000, 1001}, 6s);
    known.audio = false;
    Placement silent;
    silent.state = Placement::State::no_audio;
    put(1, known, Kind::slow_mo, "captured at 119.88, five times the edit's rate", silent,
        {mark(Field::section, "Chorus 1"), mark(Field::member, "Tobias"), mark(Field::rating, "4")});
  }

  void other_gamma() {
    auto known = facts({25, 1}, {25, 1}, 12'500ms);
    known.gamma = "rec709";
    known.gamut.reset();
    Placement none;
    none.state = Placement::State::none;
    put(2, known, Kind::b_roll, "not in the song", none, {mark(Field::note, "hands\x1b[31m on the bass")});
  }

  void cut_off() {
    ClipFacts unknown;
    unknown.problems = {{ProblemCode::incomplete, "CLIP/C0001.MP4", "", "C0001.MP4: it ends before its index"}};
    must(rows_.catalogue().record_facts(ids_[3], unknown, test::kNoon));
  }

 protected:
  test::ShootRows rows_;
  std::vector<ClipId> ids_;
};

TEST_F(Clips, AreFoundAtAGlance) {
  const auto called = run({"find"});
  EXPECT_EQ(called.exit, 0);
  expect_golden("find.txt", called.out);
}

TEST_F(Clips, AreFoundByAMomentOfTheSongWithTheirOwnTime) {
  expect_golden("find_at.txt", run({"find", "--at", "0:20.5"}).out);
  EXPECT_EQ(run({"find", "--at", "1:59"}).err, "No clip matches: everytake find lists all.\n");
}

TEST_F(Clips, AreFoundByTheBar) {
  // At 96 quarter notes a minute in 4/4 a bar lasts 2.5 s: bar 9 begins at 20 s, 22 s into a clip that begins at -2 s.
  EXPECT_THAT(run({"find", "--bar", "9"}).out, HasSubstr("0:22.000\n"));
  const auto json = Json::parse(run({"find", "--bar", "9", "--json"}).out);
  EXPECT_EQ(json["clips"][0]["open_at_s"], 22.0);
  EXPECT_EQ(run({"find", "--bar", "40"}).out, "");
  EXPECT_EQ(run({"find", "--bar", "0"}).exit, 3);
  EXPECT_EQ(run({"find", "--bar", "9", "--at", "0:20"}).exit, 2);
}

// C0002 is silent, captured at 119.88 and stored at 23.976: its 6 s were 1.2 s on the set.
TEST_F(Clips, ThatAreStoredSlowedHoldAsMuchSongAsWentByWhileTheyWereShot) {
  EXPECT_EQ(run({"tag", "R001/C0002", "--start", "0:31"}).exit, 0);
  auto song = Json::parse(run({"show", "C0002", "--json"}).out)["clip"]["song"];
  EXPECT_EQ(song["spans"], Json::parse("[[31.0,32.2]]"));
  EXPECT_EQ(song["stored_slow"], 5.0);
  EXPECT_EQ(song["speed"], 1.0);
  EXPECT_THAT(run({"find", "--kind", "slow-mo", "--at", "0:32"}).out, HasSubstr("0:05.000\n"));
  EXPECT_THAT(names({"--kind", "slow-mo", "--at", "0:32.5"}), ElementsAre());
  EXPECT_THAT(run({"show", "C0002"}).out,
              HasSubstr("  song         its first frame is at 0:31.000 (Chorus 1, bar 13, beat 2.6); by hand\n"
                        "  pace         1 s of it is 0.2 s of song\n"
                        "  holds        0:31.000 (Chorus 1, bar 13, beat 2.6) to 0:32.200"));
  EXPECT_EQ(run({"tag", "R001/C0002", "--start", "0:31", "--speed", "5"}).exit, 0);  // 1.2 s in which 6 s went by
  song = Json::parse(run({"show", "C0002", "--json"}).out)["clip"]["song"];
  EXPECT_EQ(song["spans"], Json::parse("[[31.0,37.0]]"));
  EXPECT_EQ(song["speed"], 5.0);
}

TEST_F(Clips, SayWhereTheirSlowingIsNotKnown) {
  auto known = facts({24000, 1001}, {24000, 1001}, 6s);
  known.audio = false;
  known.capture_rate.reset();
  must(rows_.catalogue().record_facts(ids_[1], known, test::kNoon));
  const auto called = run({"tag", "R001/C0002", "--start", "0:31"});
  EXPECT_EQ(called.exit, 0);
  EXPECT_EQ(called.err,
            "R001/C0002: its capture rate is not known, so it counts as playing as fast as it was shot; if the camera "
            "slowed it 5 times, say --speed 0.2\n");
  EXPECT_THAT(run({"show", "C0002"}).out,
              HasSubstr("  pace         1 s of it is 1 s of song, if the camera did not slow it: its capture rate is "
                        "not known\n"));
  EXPECT_EQ(Json::parse(run({"show", "C0002", "--json"}).out)["clip"]["song"]["stored_slow"], nullptr);
}

TEST_F(Clips, AreFoundWithWhatIsWrongWithThem) {
  expect_golden("find_problem.txt", run({"find", "--problem"}).out);
}

TEST_F(Clips, AreFoundByEachOfTheirMarksAndFacts) {
  EXPECT_THAT(names({"--kind", "slow-mo"}), ElementsAre("R001/C0002"));
  EXPECT_THAT(names({"--member", "ada"}), ElementsAre("R001/C0001"));
  EXPECT_THAT(names({"--section", "Verse 1"}), ElementsAre("R001/C0001"));                 // placed in it
  EXPECT_THAT(names({"--section", "chorus 1"}), ElementsAre("R001/C0001", "R001/C0002"));  // placed, and tagged
  EXPECT_THAT(names({"--look", "Warm Side Light"}), ElementsAre("R001/C0001"));
  EXPECT_THAT(names({"--gamma", "s-log3"}), ElementsAre("R001/C0001", "R001/C0002"));
  EXPECT_THAT(names({"--min-rate", "59.94"}), ElementsAre("R001/C0002"));
  EXPECT_THAT(names({"--roll", "R002"}), ElementsAre("R002/C0001"));
  EXPECT_THAT(names({"bass"}), ElementsAre("R001/C0003"));
  EXPECT_THAT(names({"bass", "--kind", "slow-mo"}), ElementsAre());
}

TEST_F(Clips, AreNotGuessedAtWhereAFilterMeansNothing) {
  for (const std::vector<std::string>& wrong : std::vector<std::vector<std::string>>{{"find", "--kind", "slow"},
                                                                                     {"find", "--member", "Adda"},
                                                                                     {"find", "--section", "Verse 9"},
                                                                                     {"find", "--min-rate", "fast"},
                                                                                     {"find", "--at", "1:99"}}) {
    const auto called = run(wrong);
    EXPECT_EQ(called.exit, wrong[1] == "--member" || wrong[1] == "--section" ? 3 : 2) << wrong[1];
    EXPECT_EQ(called.out, "");
    EXPECT_THAT(called.err, HasSubstr(wrong[2]));
  }
  EXPECT_THAT(run({"find", "--member", "Adda"}).err, HasSubstr("did you mean \"Ada\"?"));
}

// At 96 quarter notes a minute a bar of 4/4 lasts 2.5 s; the song lasts 2:08, so bar 52 begins at 2:07.5.
TEST_F(Clips, AreNotLookedForPastTheSongsEnd) {
  const auto expect_refusal = [&](const std::vector<std::string>& arguments, const char* sentence) {
    const auto called = run(arguments);
    EXPECT_EQ(called.exit, 3) << sentence;
    EXPECT_EQ(called.out, "");
    EXPECT_EQ(called.err, std::string("everytake: ") + sentence + "\n");
  };
  expect_refusal({"find", "--bar", "999"},
                 "--bar 999 is past the end of the song: its last bar is 52, at 2:07.500; name a bar from 1 to 52");
  expect_refusal({"find", "--bar", "53"},
                 "--bar 53 is past the end of the song: its last bar is 52, at 2:07.500; name a bar from 1 to 52");
  expect_refusal({"find", "--at", "9:59"},
                 "--at 9:59 is past the end of the song at 2:08.000; name a moment before that");
  expect_refusal({"find", "--at", "2:08"},
                 "--at 2:08 is past the end of the song at 2:08.000; name a moment before that");
  expect_refusal({"tag", "C0003", "--start", "9:59"},
                 "--start 9:59 is past the end of the song at 2:08.000; name a moment before that");
  EXPECT_EQ(run({"find", "--bar", "52"}).exit, 0);
  EXPECT_EQ(run({"find", "--bar", "9223372036854775807"}).exit, 3);
}

TEST_F(Clips, ThatTheCameraSplitNameTheirOtherPart) {
  const Rational rate(24000, 1001);
  auto known = facts(rate, rate, 240s);
  known.timecode = "10:00:00:00";
  known.recorded_at = test::kNoon;
  for (const auto id : rows_.clips({"GX010034", "GX020034"}, "card-3")) {
    must(rows_.catalogue().record_facts(id, known, test::kNoon));
    known.timecode = to_string(label_of(864000 + *known.frames, rate, false), rate);
    known.recorded_at = *known.recorded_at + 240s;
  }
  const auto first = Json::parse(run({"show", "GX010034", "--json"}).out)["clip"];
  EXPECT_EQ(first["goes_on_in"], "R003/GX020034");
  EXPECT_EQ(first["goes_on_from"], nullptr);
  EXPECT_THAT(run({"show", "GX020034"}).out,
              HasSubstr("spanned from R003/GX010034: one recording, which the camera split"));
}

TEST_F(Clips, AreShownWithAllThatIsKnown) {
  expect_golden("show.txt", run({"show", "R001/C0001"}).out + "\n" + run({"show", "C0003.MP4"}).out + "\n" +
                                run({"show", "R002/C0001"}).out);
}

TEST_F(Clips, AreShownByNameOnlyWhereThatIsOne) {
  EXPECT_EQ(run({"show", "C0001"}).exit, 3);
  EXPECT_THAT(run({"show", "C0001"}).err, HasSubstr("R002/C0001 (id 4)"));
  EXPECT_EQ(run({"show", "C0009"}).out, "");
  EXPECT_THAT(run({"show", "C0009"}).err, HasSubstr("there is no clip \"C0009\""));
}

TEST_F(Clips, KeepUnknownNullInJson) {
  const auto clip = Json::parse(run({"show", "R002/C0001", "--json"}).out)["clip"];
  for (const char* unknown : {"duration_s", "frames", "frame_rate", "capture_rate", "slow_factor", "gamma", "timecode",
                              "recorded_at", "camera", "audio", "kind"})
    EXPECT_EQ(clip[unknown], nullptr) << unknown;
  EXPECT_EQ(clip["problems"][0]["code"], "incomplete");
}

TEST_F(Clips, AreCountedByRoll) {
  expect_golden("rolls.txt", run({"rolls"}).out);
  const auto rolls = Json::parse(run({"rolls", "--json"}).out)["rolls"];
  EXPECT_EQ(rolls[0]["files"], 3);
  EXPECT_EQ(rolls[1]["destinations"][1]["state"], "verified");
}

TEST_F(Clips, SayWhichCopiesOfARollAreNotFinished) {
  rows_.put_copies(rows_.visit({"CLIP/C0001.MP4", "CLIP/C0002.MP4"}, test::kNoon, "card-3"), CopyState::copied);
  EXPECT_THAT(run({"rolls"}).out, HasSubstr("0 verified, 2 unfinished, 0 failed"));
  EXPECT_EQ(Json::parse(run({"rolls", "--json"}).out)["rolls"][2]["destinations"][0]["state"], "incomplete");
}

TEST_F(Clips, AreTaggedSeveralAtOnceOrNotAtAll) {
  EXPECT_EQ(run({"tag", "R001/C0002", "C0003", "--look", "red back light", "--member", "tobias"}).out,
            "R001/C0002: slow-mo; Chorus 1; with Tobias; red back light; rating 4\n"
            "R001/C0003: b-roll; with Tobias; red back light\n");
  const auto before = run({"find", "--json"}).out;
  EXPECT_EQ(run({"tag", "C0003", "C0099", "--look", "none"}).exit, 3);
  EXPECT_EQ(run({"tag", "C0003", "--member", "Nobody"}).exit, 3);
  EXPECT_EQ(run({"tag", "C0003"}).exit, 2);
  EXPECT_EQ(run({"tag", "C0003", "--speed", "2"}).exit, 2);  // of what start?
  EXPECT_EQ(run({"tag", "C0003", "--start", "soon"}).exit, 2);
  EXPECT_EQ(run({"tag", "C0003", "--kind", "slow"}).exit, 2);
  EXPECT_EQ(run({"tag", "C0003", "--rating", "6"}).exit, 2);
  EXPECT_EQ(run({"find", "--json"}).out, before);
}

TEST_F(Clips, AreWhatTheHandSaysUntilItTakesThatBack) {
  EXPECT_EQ(run({"tag", "C0003", "--kind", "performance", "--start", "-0:02.5", "--section", "Intro"}).out,
            "R001/C0003: performance; Intro\n");
  auto clip = Json::parse(run({"show", "C0003", "--json"}).out)["clip"];
  EXPECT_EQ(clip["kind_by"], "hand");
  EXPECT_EQ(clip["song"]["start_s"], -2.5);
  EXPECT_EQ(clip["song"]["spans"], Json::parse("[[0.0,10.0]]"));
  EXPECT_EQ(run({"tag", "C0003", "--clear", "kind", "--clear", "start", "--clear", "section"}).exit, 0);
  clip = Json::parse(run({"show", "C0003", "--json"}).out)["clip"];
  EXPECT_EQ(clip["kind"], "b-roll");
  EXPECT_EQ(clip["kind_by"], "rule");
}

TEST_F(Clips, WhoseSoundFitsSeveralPlacesListThemToChooseFrom) {
  Placement several;
  several.state = Placement::State::ambiguous;
  several.start = 30s;
  several.spans = {{30s, 42500ms}};
  several.confidence = 0.8;
  several.candidates = {{30s, 0.8}, {105s, 0.7}};
  must(rows_.catalogue().record_placement(ids_[2], several));
  expect_golden("show_ambiguous.txt", run({"show", "C0003"}).out);

  EXPECT_EQ(run({"tag", "C0003", "--choose", "2"}).exit, 0);
  auto song = Json::parse(run({"show", "C0003", "--json"}).out)["clip"]["song"];
  EXPECT_EQ(song["state"], "placed");
  EXPECT_EQ(song["by"], "hand");
  EXPECT_EQ(song["start_s"], 105);
  EXPECT_EQ(song["spans"], Json::parse("[[105.0,117.5]]"));
  EXPECT_EQ(run({"tag", "C0003", "--choose", "1"}).exit, 0);  // after all
  EXPECT_EQ(Json::parse(run({"show", "C0003", "--json"}).out)["clip"]["song"]["start_s"], 30);
  EXPECT_EQ(run({"tag", "C0003", "--clear", "start"}).exit, 0);
  EXPECT_EQ(Json::parse(run({"show", "C0003", "--json"}).out)["clip"]["song"]["state"], "ambiguous");

  EXPECT_THAT(run({"tag", "C0003", "--choose", "3"}).err, HasSubstr("C0003 has 2 places"));
  EXPECT_THAT(run({"tag", "C0002", "--choose", "1"}).err, HasSubstr("no places to choose from"));
  EXPECT_THAT(run({"tag", "C0002", "C0003", "--choose", "1"}).err, HasSubstr("name one clip"));
  EXPECT_EQ(run({"tag", "C0003", "--choose", "1", "--start", "0:30"}).exit, 2);
}

TEST_F(Clips, AreSettledByTheClipBeforeAndSayWhich) {
  // C0001 begins at -0:02 of the song and runs 44 s; C0003 was recorded 50 s after it began: the song stood at 0:48.
  Placement several;
  several.state = Placement::State::ambiguous;
  several.start = 108s;
  several.spans = {{108s, 118s}};
  several.candidates = {{108s, 0.8}, {48s, 0.7}};
  auto known = must(rows_.catalogue().clip(ids_[2])).facts;
  known.recorded_at = test::kNoon - 1h + 50s;
  must(rows_.catalogue().record_facts(ids_[2], known, test::kNoon));
  must(rows_.catalogue().record_placement(ids_[2], several));
  EXPECT_EQ(run({"tag", "R001/C0001", "--start", "-0:02"}).exit, 0);
  EXPECT_THAT(run({"show", "C0003"}).out,
              HasSubstr("its first frame is at 0:48.000 (Chorus 1, bar 20, beat 1.8); by rule, of 2 places as "
                        "R001/C0001 and the times of recording tell\n"));
  EXPECT_EQ(Json::parse(run({"show", "C0003", "--json"}).out)["clip"]["song"]["settled_by"], "R001/C0001");
  EXPECT_EQ(run({"tag", "R001/C0001", "--start", "0:20"}).exit, 0);
  EXPECT_EQ(Json::parse(run({"show", "C0003", "--json"}).out)["clip"]["song"]["state"], "ambiguous");
}

TEST_F(Clips, AreNotPlacedOutsideTheSong) {
  const auto called = run({"tag", "C0003", "--start", "-0:15"});  // 12.5 s long
  EXPECT_EQ(called.exit, 3);
  EXPECT_THAT(called.err,
              HasSubstr("C0003: no part of it would lie in the song: it would end 2.5 s before that begins"));
  EXPECT_THAT(run({"tag", "R002/C0001", "--start", "0:10"}).err, HasSubstr("its length is not known"));
}

TEST_F(Clips, WaitForTheirDiskBeforeTheyAreStudied) {
  // Neither the plan's destinations nor its song are there: nothing is read, nothing that is known is lost.
  const auto before = run({"find", "--json"}).out;
  const auto called = run({"study"});
  EXPECT_EQ(called.exit, 3);
  EXPECT_THAT(called.err, HasSubstr("saltmarsh-radio.wav"));
  EXPECT_EQ(run({"find", "--json"}).out, before);
  const auto plan = get_file(rows_.folder() / "shoot.toml");
  const std::string song = "file = \"saltmarsh-radio.wav\"\n";
  put_file(rows_.folder() / "shoot.toml", std::string(plan).erase(plan.find(song), song.size()));
  const auto again = run({"study"});
  EXPECT_EQ(again.exit, 1);
  EXPECT_EQ(again.out, "0 clips studied\n");
  EXPECT_THAT(again.err, HasSubstr("clips left as known: no copy is in reach"));
  EXPECT_EQ(run({"find", "--json"}).out, before);
}

TEST_F(Clips, AreFoundByAPartOfTheirLookAndByTheirRating) {
  EXPECT_THAT(names({"--look", "SIDE"}), ElementsAre("R001/C0001"));
  EXPECT_THAT(names({"--look", "red"}), testing::IsEmpty());
  EXPECT_THAT(names({"--rating", "4"}), ElementsAre("R001/C0002"));
  EXPECT_EQ(run({"tag", "C0003", "--rating", "5"}).exit, 0);
  EXPECT_THAT(names({"--rating", "4+"}), ElementsAre("R001/C0002", "R001/C0003"));
  EXPECT_THAT(names({"--rating", "4"}), ElementsAre("R001/C0002"));
  for (const char* wrong : {"6", "0", "4-", "four", "4++"})
    EXPECT_EQ(run({"find", "--rating", wrong}).exit, 2) << wrong;
}

// Two folders of a card may hold the same name.
TEST_F(Clips, AreToldApartByTheirIdsWhereNamesRepeat) {
  const auto files = rows_.visit({"A/C0009.MP4", "B/C0009.MP4"}, test::kNoon + 1h, "card-9");
  std::map<std::string, FileId> by_path{{"A/C0009.MP4", files[0]}, {"B/C0009.MP4", files[1]}};
  const std::vector<ClipFiles> twins{{"C0009", {{"A/C0009.MP4", FileRole::video}}},
                                     {"C0009", {{"B/C0009.MP4", FileRole::video}}}};
  const auto ids = must(rows_.catalogue().put_clips(twins, by_path));
  ASSERT_EQ(ids.size(), 2U);
  const auto found = run({"find", "C0009"}).out;
  for (const auto id : ids) EXPECT_THAT(found, HasSubstr("R003/C0009 (id " + std::to_string(id.value) + ")"));
  EXPECT_THAT(run({"find", "C0001"}).out, testing::Not(HasSubstr("(id")));
}

// ---- Many at once ----

TEST_F(Clips, AreTaggedByRangeWildcardRollAndNumber) {
  EXPECT_EQ(run({"tag", "R001/C0001-C0002", "--rating", "5"}).exit, 0);
  EXPECT_EQ(run({"tag", "R002/*", "C0003", "--angle", "low"}).exit, 0);
  EXPECT_EQ(run({"tag", "--roll", "r001", "--section", "Intro"}).exit, 0);
  const auto clips = Json::parse(run({"find", "--json"}).out)["clips"];
  const auto all = [&](const char* field) {
    std::vector<Json> values;
    for (const auto& clip : clips) values.push_back(clip[field]);
    return values;
  };
  EXPECT_THAT(all("rating"), ElementsAre(5, 5, Json(), Json()));
  EXPECT_THAT(all("angle"), ElementsAre(Json(), Json(), "low", "low"));
  EXPECT_THAT(all("sections"), ElementsAre(Json::array({"Intro"}), Json::array({"Chorus 1", "Intro"}),
                                           Json::array({"Intro"}), Json::array()));
  EXPECT_EQ(run({"tag", "R001/C0001", "--remove-section", "intro"}).exit, 0);
  EXPECT_THAT(names({"--section", "Intro", "--kind", "b-roll"}), ElementsAre("R001/C0003"));
}

// Recorded at 11:00, 11:01 and 11:02; the one of R002 has no time.
TEST_F(Clips, AreChosenByWhenTheyWereRecorded) {
  for (std::size_t i = 0; i < 3; ++i) {
    auto known = must(rows_.catalogue().clip(ids_[i])).facts;
    known.recorded_at = test::kNoon - 1h + 1min * static_cast<int>(i);
    must(rows_.catalogue().record_facts(ids_[i], known, test::kNoon));
  }
  const auto tagged = [&](std::vector<std::string> choice) {
    choice.insert(choice.begin(), "tag");
    choice.insert(choice.end(), {"--look", "blue", "--json"});
    const auto called = run(choice);
    std::vector<std::string> found;
    EXPECT_EQ(called.exit, 0) << called.err;
    const auto json = Json::parse(called.out, nullptr, /*allow_exceptions=*/false);
    if (json.contains("clips"))
      for (const auto& clip : json["clips"])
        found.push_back(clip["roll"].get<std::string>() + "/" + clip["name"].get<std::string>());
    return found;
  };
  EXPECT_THAT(tagged({"--last", "2"}), ElementsAre("R001/C0002", "R001/C0003"));
  EXPECT_THAT(tagged({"--last", "9"}), ElementsAre("R001/C0001", "R001/C0002", "R001/C0003"));
  EXPECT_THAT(run({"tag", "--last", "2", "--look", "blue"}).err, HasSubstr("1 clip left out: nothing tells when"));
  EXPECT_THAT(tagged({"C0001-C0002", "--roll", "R001"}), ElementsAre("R001/C0001", "R001/C0002"));
  EXPECT_THAT(tagged({"--since", "2026-03-14 11:01"}), ElementsAre("R001/C0002", "R001/C0003"));
  EXPECT_THAT(tagged({"--since", "2026-03-14 11:01", "--until", "2026-03-14 11:02"}), ElementsAre("R001/C0002"));
  EXPECT_THAT(tagged({"C0003", "--until", "2026-03-14 12:00"}), ElementsAre("R001/C0003"));
  EXPECT_THAT(run({"tag", "--since", "2026-03-15 11:00", "--look", "x"}).err,
              HasSubstr("no clip fits all of that: everytake find lists all"));
  EXPECT_THAT(run({"tag", "--roll", "R009", "--look", "x"}).err, HasSubstr("R001"));
}

TEST_F(Clips, GetBackWhatWasSaidBeforeTheLastChange) {
  const auto all_but_why = [&] {  // why it is of its kind is told anew where a place changed
    auto clips = Json::parse(run({"find", "--json"}).out)["clips"];
    for (auto& clip : clips) clip.erase("because");
    return clips;
  };
  const auto before = all_but_why();
  EXPECT_EQ(run({"tag", "*", "--look", "blue", "--remove-member", "Ada", "--clear", "note", "--start", "0:20"}).exit,
            3);
  EXPECT_EQ(all_but_why(), before);  // one of them has no length: nothing was changed, nothing remembered
  EXPECT_EQ(run({"tag", "*", "--look", "blue", "--remove-member", "Ada", "--clear", "note"}).exit, 0);
  const auto between = all_but_why();
  EXPECT_EQ(run({"tag", "R001/C0001", "C0003", "--start", "0:20", "--rating", "1"}).exit, 0);
  EXPECT_NE(all_but_why(), between);
  EXPECT_EQ(run({"tag", "--undo"}).exit, 0);
  EXPECT_EQ(all_but_why(), between);
  EXPECT_EQ(run({"tag", "--undo"}).exit, 0);
  EXPECT_EQ(all_but_why(), before);
}

TEST_F(Clips, SayWhatTagCanNotDo) {
  EXPECT_EQ(run({"tag", "C0002"}).exit, 2);
  EXPECT_EQ(run({"tag", "--look", "blue"}).exit, 2);
  EXPECT_THAT(run({"tag", "--look", "blue"}).err, HasSubstr("say which clips"));
  EXPECT_EQ(run({"tag", "C0002", "--undo"}).exit, 2);
  while (run({"tag", "--undo"}).exit == 0) {
  }
  EXPECT_THAT(run({"tag", "--undo"}).err, HasSubstr("there is no change to take back"));
}

TEST(NoClips, SayWhatToDoFirst) {
  const test::TempDir dir;
  put_file(dir / "shoot.toml", get_file(Path(EVERYTAKE_SOURCE_DIR) / "tests/golden/saltmarsh.toml"));
  EXPECT_EQ(call({"find"}, dir.path()).err, "No clips yet: offload a card first.\n");
  EXPECT_EQ(call({"rolls"}, dir.path()).err, "No rolls yet: offload a card first.\n");
  EXPECT_THAT(call({"show", "C0001"}, dir.path()).err, HasSubstr("offload a card first"));
}

}  // namespace
}  // namespace everytake
