// A day whose log keeps itself: setups said as they come, clips that arrive hours later, a camera that is an hour off.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "base/json.h"
#include "pipeline/setups.h"
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
using test::must;
using test::put_file;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;

constexpr int kClips = 60, kCards = 3, kSetups = 9;

// Setup k holds from 10:00 on, half an hour each: by the clip's number, 7, 7, 6, 7, 7, 6, 7, 7 and 6 of 60.
int setup_of(int clip) {
  return clip * kSetups / kClips;
}

// A plan that wants just what these clips bring: 27 takes of both sections (setups 0 to 3) under 4 looks, 20 b-roll
// clips in the verse (4 to 6, of Ada, 10 s each), 13 in the chorus (7 and 8, of Jonas).
std::string plan(int takes) {
  return "[shoot]\ntitle = \"Saltmarsh Radio\"\nperformer = \"Tollhouse Four\"\nframe_rate = 24\n"
         "[song]\nlength = \"0:40\"\n"
         "[[member]]\nname = \"Ada\"\n[[member]]\nname = \"Jonas\"\n"
         "[[section]]\nname = \"Verse\"\nstart = \"0:00\"\nend = \"0:20\"\n"
         "[[section]]\nname = \"Chorus\"\nstart = \"0:20\"\nend = \"0:40\"\n"
         "[[destination]]\nname = \"desk\"\npath = \"/nowhere/desk\"\n"
         "[[destination]]\nname = \"shuttle\"\npath = \"/nowhere/shuttle\"\n"
         "[want]\ntakes = " +
         std::to_string(takes) + "\nb_roll = 13\nslow_mo = 0\nlooks = 4\nmember_seconds = 130\n";
}

class Day : public testing::Test {
 protected:
  Day() { put_file(rows_.folder() / "shoot.toml", plan(27)); }

  Called run(std::vector<std::string> arguments) const {
    auto called = call(std::move(arguments), rows_.folder());
    EXPECT_EQ(called.exit, 0) << called.err;
    return called;
  }
  Json json(std::vector<std::string> arguments) const {
    arguments.push_back("--json");
    return Json::parse(run(std::move(arguments)).out);
  }

  static std::string at(int setup) {
    return "2026-11-28 " + std::to_string(10 + setup / 2) + (setup % 2 ? ":30" : ":00");
  }

  // As it is typed on the set, between takes.
  void say_setups() const {
    run({"setup", "--member", "ada", "--member", "jonas", "--look", "white", "--at", at(0)});
    run({"setup", "--same", "--look", "red", "--at", at(1)});
    run({"setup", "--same", "--look", "red back light", "--angle", "low", "--at", at(2)});
    run({"setup", "--same", "--look", "blue", "--at", at(3)});
    for (const int k : {4, 5, 6})
      run({"setup", "--member", "Ada", "--kind", "b-roll", "--section", "verse", "--look", "blue", "--at", at(k)});
    for (const int k : {7, 8})
      run({"setup", "--member", "Jonas", "--kind", "b-roll", "--section", "chorus", "--look", "blue", "--at", at(k)});
    run({"setup", "--end", "--at", at(9)});
  }

  // The clips of a setup lie in its half hour, three minutes apart; the camera's clock is `ahead`.
  void shoot(Micros ahead) {
    const Instant ten{std::chrono::sys_days{std::chrono::year{2026} / 11 / 28} + 10h};
    std::vector<ClipId> ids;
    for (int card = 0; card < kCards; ++card) {
      std::vector<std::string> names;
      for (int i = card * kClips / kCards; i < (card + 1) * kClips / kCards; ++i)
        names.push_back("C00" + std::to_string(10 + i));
      for (const auto id : rows_.clips(names, "card-" + std::to_string(card))) ids.push_back(id);
    }
    int within = 0;
    for (int i = 0; i < kClips; ++i) {
      const int k = setup_of(i);
      within = i > 0 && setup_of(i - 1) == k ? within + 1 : 0;
      ClipFacts known;
      known.camera = "L-1";
      known.frame_rate = known.capture_rate = Rational(24, 1);
      known.duration = k < 4 ? 40s : 10s;
      known.recorded_at = ten + 30min * k + 3min * within + ahead;
      known.audio = true;
      must(rows_.catalogue().record_facts(ids[static_cast<std::size_t>(i)], known, test::kNoon));
      Placement placed;
      placed.state = k < 4 ? Placement::State::placed : Placement::State::none;
      if (k < 4) placed.spans = {{0s, 40s}};
      must(rows_.catalogue().record_placement(ids[static_cast<std::size_t>(i)], placed));
      must(rows_.catalogue().record_rule(ids[static_cast<std::size_t>(i)],
                                         {k < 4 ? Kind::performance : Kind::slow_mo, By::rule, "by its sound"}));
    }
    must(pipeline::apply_setups(rows_.catalogue()));  // what a study does at its end
  }

  void expect_right_marks() const {
    const auto clips = json({"find"})["clips"];
    ASSERT_EQ(clips.size(), std::size_t{kClips});
    const std::vector<std::string> looks{"white", "red",  "red back light", "blue", "blue",
                                         "blue",  "blue", "blue",           "blue"};
    for (int i = 0; i < kClips; ++i) {
      const auto& clip = clips[static_cast<std::size_t>(i)];
      const int k = setup_of(i);
      EXPECT_EQ(clip["members"], k < 4 ? Json::array({"Ada", "Jonas"}) : Json::array({k < 7 ? "Ada" : "Jonas"})) << i;
      EXPECT_EQ(clip["look"], looks[static_cast<std::size_t>(k)]) << i;
      EXPECT_EQ(clip["angle"], k == 2 || k == 3 ? Json("low") : Json()) << i;
      EXPECT_EQ(clip["kind"], k < 4 ? "performance" : "b-roll") << i;
      EXPECT_EQ(clip["kind_by"], k < 4 ? "rule" : "setup") << i;
    }
  }

  test::ShootRows rows_;
};

TEST_F(Day, EveryClipHasWhatWasSaidOfItsTimeWithoutATag) {
  say_setups();
  shoot(62min);
  EXPECT_THAT(call({"coverage", "--check"}, rows_.folder()).exit, 1);  // the camera is an hour and two minutes off
  run({"clock", "--camera", "l-1", "--ahead", "1:02:00"});
  expect_right_marks();
  run({"coverage", "--check"});
  put_file(rows_.folder() / "shoot.toml", plan(28));
  EXPECT_EQ(call({"coverage", "--check"}, rows_.folder()).exit, 1);
}

TEST_F(Day, ClipsThatComeBeforeTheSetupIsSaidGetItToo) {
  shoot(0min);
  say_setups();
  expect_right_marks();
}

TEST_F(Day, IsListedWithItsClips) {
  say_setups();
  shoot(0min);
  expect_golden("setup.txt", run({"setup"}).out);
  const auto day = json({"setup"});
  ASSERT_EQ(day["setups"].size(), 10U);
  EXPECT_EQ(day["setups"][2]["at"], "2026-11-28T11:00:00Z");
  EXPECT_EQ(day["setups"][2]["angle"], "low");
  EXPECT_EQ(day["setups"][2]["clips"].size(), 6U);
  EXPECT_EQ(day["setups"][9]["end"], true);
  EXPECT_THAT(day["outside"], IsEmpty());
  EXPECT_THAT(run({"show", "R001/C0017"}).out, HasSubstr("2026-11-28 10:30:00; setup of 10:30\n"));
  run({"setup", "--same", "--look", "amber", "--at", "2026-11-28 10:30:05"});
  EXPECT_EQ(json({"show", "R001/C0017"})["clip"]["setup"], "setup of 10:30, said while it was recorded");
}

TEST_F(Day, PointsOutAClockThatSeemsHoursOff) {
  run({"setup", "--member", "Ada", "--at", at(0)});
  run({"setup", "--end", "--at", "2026-11-28 14:30"});
  shoot(5h);
  const auto told = run({"setup"}).out;
  EXPECT_THAT(told, HasSubstr("The clock of camera L-1 seems 5 hours ahead: 60 clips of it lie outside every setup"));
  EXPECT_THAT(told, HasSubstr("everytake clock --camera \"L-1\" --ahead 5:00:00"));
  run({"clock", "--camera", "L-1", "--ahead", "5:00:00"});
  EXPECT_EQ(json({"setup"})["setups"][0]["clips"].size(), std::size_t{kClips});
  EXPECT_THAT(run({"setup"}).out, Not(HasSubstr("seems")));
  expect_golden("clock.txt", run({"clock"}).out);
}

TEST_F(Day, TheHandGoesBeforeTheSetupAndWhatWasSaidCanBeTakenBack) {
  say_setups();
  shoot(0min);
  run({"tag", "R001/C0010", "--look", "candles"});
  run({"setup", "--undo"});  // the end
  run({"setup", "--undo"});  // the last of Jonas: his clips belong to the setup before
  EXPECT_EQ(json({"find", "--look", "candles"})["clips"].size(), 1U);
  const auto day = json({"setup"});
  ASSERT_EQ(day["setups"].size(), 8U);
  EXPECT_EQ(day["setups"][7]["clips"].size(), 13U);
  for (int i = 0; i < 8; ++i) run({"setup", "--undo"});
  const auto none = call({"setup", "--undo"}, rows_.folder());
  EXPECT_EQ(none.exit, 3);
  EXPECT_THAT(none.err, HasSubstr("there is no setup to take back"));
  const auto found = json({"find"});
  for (const auto& clip : found["clips"]) EXPECT_THAT(clip["members"], IsEmpty());
}

TEST_F(Day, AsksBeforeManyClipsAreChangedWhereThereIsSomebodyToAsk) {
  shoot(0min);
  std::ostringstream out, err;
  std::string asked;
  bool answer = false;
  cli::Session session{.out = out,
                       .err = err,
                       .out_screen = {},
                       .err_screen = {},
                       .folder = rows_.folder(),
                       .shoot_from_environment = std::nullopt,
                       .shoot = std::nullopt};
  session.confirm = [&](const std::string& question) {
    asked = question;
    return answer;
  };
  EXPECT_NE(cli::run({"tag", "*", "--look", "red"}, session), pipeline::Exit::done);
  EXPECT_EQ(asked, "Change these 60 clips?");
  EXPECT_THAT(err.str(), HasSubstr("R003/C0069"));
  EXPECT_THAT(json({"find", "--look", "red"})["clips"], IsEmpty());
  answer = true;
  EXPECT_EQ(cli::run({"tag", "*", "--look", "red"}, session), pipeline::Exit::done);
  EXPECT_EQ(json({"find", "--look", "red"})["clips"].size(), std::size_t{kClips});
  asked.clear();
  EXPECT_EQ(cli::run({"tag", "--last", "20", "--look", "blue"}, session), pipeline::Exit::done);
  EXPECT_EQ(asked, "");
}

TEST_F(Day, SaysWhatIsWrongWithASetup) {
  const auto wrong = [&](std::vector<std::string> arguments) {
    arguments.insert(arguments.begin(), "setup");
    const auto called = call(arguments, rows_.folder());
    EXPECT_NE(called.exit, 0);
    return called.err;
  };
  EXPECT_THAT(wrong({"--member", "Jonsa"}), HasSubstr("the plan has no member \"Jonsa\"; did you mean \"Jonas\"?"));
  EXPECT_THAT(wrong({"--same", "--look", "red"}), HasSubstr("--same: no setup holds at that time"));
  EXPECT_THAT(wrong({"--at", "soon", "--look", "red"}), HasSubstr("write a time of today that has been, as in 14:10"));
  EXPECT_THAT(wrong({"--end", "--look", "red"}), HasSubstr("--end and --undo stand alone"));
  EXPECT_TRUE(must(rows_.catalogue().setups()).empty());
  const auto clock = call({"clock", "--camera", "L-9", "--ahead", "1:00:00"}, rows_.folder());
  EXPECT_EQ(clock.exit, 3);
  EXPECT_THAT(clock.err, HasSubstr("no clip is of a camera \"L-9\""));
}

}  // namespace
}  // namespace everytake
