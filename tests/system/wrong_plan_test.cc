// Copies and verdicts while the plan's song, sections, members, cameras or wants are wrong.
#include <gtest/gtest.h>

#include <boost/filesystem.hpp>

#include "support/media_card.h"
#include "support/rooms.h"
#include "support/shoot_bench.h"

namespace everytake {
namespace {

using test::quoted;
using test::shell;

class WrongPlan : public test::ShootBench {
 protected:
  // The song's file is not there, and nothing else says how long it is.
  WrongPlan() {
    put("PRIVATE/M4ROOT/CLIP/C0001.MP4", 2'000'000);
    put("PRIVATE/M4ROOT/CLIP/C0002.MP4", 100);
    test::put_file(shoot_ / "shoot.toml", without_song());
  }
  std::string without_song() const { return with("length = \"2:08\"", "file = \"song.wav\""); }
  std::string with(const std::string& old, const std::string& now) const {
    auto text = plan();
    text.replace(text.find(old), old.size(), now);
    return text;
  }
  test::Ran daemon_once() const {
    const auto watched = dir_ / "watched";
    shell("mkdir " + quoted(watched) + " && cp -r " + quoted(card_) + " " + quoted(watched / "A"));
    return shell(quoted(Path(EVERYTAKE_BINARY_DIR) / "everytaked") + " --shoot " + quoted(shoot_) +
                 " --once --settle 0.1 --watch " + quoted(watched));
  }
};

TEST_F(WrongPlan, IsNoReasonToLeaveACardUncopied) {
  const auto ran = everytake("offload " + quoted(card_));
  EXPECT_EQ(ran.exit, 0) << ran.err;
  EXPECT_NE(ran.err.find("shoot.toml:7:8: song: can't be measured"), std::string::npos) << ran.err;
  EXPECT_NE(ran.err.find("clips wait to be placed in the song until the plan is mended"), std::string::npos);
  for (const auto& question : {"safe " + quoted(card_), std::string("verify"), std::string("verify --repair"),
                               std::string("rolls"), std::string("status")}) {
    const auto answer = everytake(question);
    EXPECT_EQ(answer.exit, 0) << question << "\n" << answer.err;
    EXPECT_NE(answer.err.find("clips wait"), std::string::npos) << question;
    EXPECT_EQ(everytake("--quiet " + question).err, "") << question;
  }
  EXPECT_EQ(shell("diff -r " + quoted(card_) + " " + quoted(desk_ / "saltmarsh-radio/R001")).exit, 0);
}

TEST_F(WrongPlan, WithAGammaThatNoClipHasStopsNoCopyAndIsToldWithTheNearest) {
  test::put_file(shoot_ / "shoot.toml", with("gamma = \"s-log3\"", "gamma = \"slog3\""));
  const auto ran = everytake("offload " + quoted(card_));
  EXPECT_EQ(ran.exit, 0) << ran.err;
  EXPECT_NE(ran.err.find("shoot.toml:5:9: shoot: gamma = \"slog3\" is not known here (did you mean \"s-log3\"?)"),
            std::string::npos)
      << ran.err;
  EXPECT_EQ(everytake("plan").exit, 3);
}

TEST_F(WrongPlan, IsRefusedByWhatPlacesAndCounts) {
  ASSERT_EQ(everytake("offload " + quoted(card_)).exit, 0);
  for (const auto& command : {"plan", "coverage", "find", "tag C0001 --rating 3", "show C0001", "study"}) {
    const auto ran = everytake(command);
    EXPECT_EQ(ran.exit, 3) << command;
    EXPECT_EQ(ran.err.find("clips wait"), std::string::npos) << command;
  }
}

TEST_F(WrongPlan, IsRefusedWhereCopiesRelyOnWhatIsWrong) {
  for (const auto& text : {with("title = \"Saltmarsh Radio\"", "read_card = \"thrice\""),
                           with("accept_cached = true", "accept_cached = 1"), with("[song]", "[song")}) {
    test::put_file(shoot_ / "shoot.toml", text);
    for (const auto& command : {"offload " + quoted(card_), "safe " + quoted(card_), std::string("verify")})
      EXPECT_EQ(everytake(command).exit, 3) << command;
  }
  EXPECT_EQ(shell("ls -A " + quoted(desk_)).out, "");
}

TEST_F(WrongPlan, IsNoReasonForTheDaemonEither) {
  const auto ran = daemon_once();
  EXPECT_EQ(ran.exit, 0) << ran.err;
  EXPECT_NE(ran.err.find("can't be measured"), std::string::npos) << ran.err;
  EXPECT_NE(ran.err.find("safe to wipe"), std::string::npos) << ran.err;
  EXPECT_NE(ran.err.find("clips wait"), std::string::npos) << ran.err;
}

// The song is there and right, and a section is wrong: its half is not used.
TEST_F(WrongPlan, LetsClipsWaitUntilItIsMended) {
  boost::filesystem::remove_all(card_ / "PRIVATE");
  test::write_song(shoot_ / "song.wav");
  test::make_card(card_, {test::card_clips()[9]});  // C0010 hears 20 s of the song
  const auto good = without_song();
  test::put_file(shoot_ / "shoot.toml", good + "[[section]]\nname = \"Outro\"\nstart = 90\nend = 80\n");
  ASSERT_EQ(everytake("offload " + quoted(card_)).exit, 0);
  test::put_file(shoot_ / "shoot.toml", good);
  const auto clip = json("show C0010")["clip"];
  EXPECT_EQ(clip["song"]["state"], "pending");
  EXPECT_EQ(clip["codec"], "h264");  // looked into all the same
  ASSERT_EQ(everytake("offload " + quoted(card_)).exit, 0);
  EXPECT_EQ(json("show C0010")["clip"]["song"]["state"], "placed");
}

class WrongPlanKept : public WrongPlan {
 protected:
  test::Ran rebuild(const std::string& options = "") const {
    return shell(program() + " --shoot " + quoted(lost_) + " rebuild " + options + quoted(desk_));
  }
  Path lost_ = dir_ / "new laptop", kept_ = desk_ / "saltmarsh-radio";
};

// The song's file is not kept at a destination: there it is always missing.
TEST_F(WrongPlanKept, IsEnoughToRebuildFrom) {
  ASSERT_EQ(everytake("offload --no-study " + quoted(card_)).exit, 0);
  const auto ran = rebuild();
  EXPECT_EQ(ran.exit, 0) << ran.err;
  EXPECT_NE(ran.err.find("clips wait"), std::string::npos) << ran.err;
  EXPECT_EQ(test::get_file(lost_ / "shoot.toml"), without_song());
  EXPECT_EQ(shell(program() + " --shoot " + quoted(lost_) + " verify").exit, 0);
}

// A new catalogue of the same shoot does not take what an old one left for another performer's.
TEST_F(WrongPlanKept, IsKnownForTheShootsOwn) {
  ASSERT_EQ(everytake("offload --no-study " + quoted(card_)).exit, 0);
  shell("mkdir " + quoted(lost_));
  test::put_file(lost_ / "shoot.toml", plan());  // mended
  const auto ran = shell(program() + " --shoot " + quoted(lost_) + " offload --no-study " + quoted(card_));
  EXPECT_NE(ran.exit, 0);
  EXPECT_NE(ran.err.find("rebuild"), std::string::npos) << ran.err;
  EXPECT_FALSE(boost::filesystem::exists(desk_ / "saltmarsh-radio-2"));
}

TEST_F(WrongPlanKept, LeavesNothingWhereItCanNotBeRebuiltFrom) {
  ASSERT_EQ(everytake("offload --no-study " + quoted(card_)).exit, 0);
  test::put_file(kept_ / "shoot.toml", "[shoot]\n");
  EXPECT_EQ(rebuild().exit, 3);
  EXPECT_FALSE(boost::filesystem::exists(lost_));
  shell("mkdir " + quoted(lost_));
  test::put_file(lost_ / "notes.txt", "mine");
  EXPECT_EQ(rebuild().exit, 3);
  EXPECT_EQ(shell("ls -A " + quoted(lost_)).out, "notes.txt\n");
}

TEST_F(WrongPlanKept, LeavesNothingWhereAListCanNotBeRead) {
  ASSERT_EQ(everytake("offload --no-study " + quoted(card_)).exit, 0);
  shell("rm " + quoted(kept_ / "R001.xxh128") + " && mkdir " + quoted(kept_ / "R001.xxh128"));
  EXPECT_NE(rebuild().exit, 0);
  EXPECT_FALSE(boost::filesystem::exists(lost_)) << shell("ls -A " + quoted(lost_)).out;
  shell("mkdir " + quoted(lost_));
  test::put_file(lost_ / "shoot.toml", plan());  // a person's own stays
  EXPECT_NE(rebuild().exit, 0);
  EXPECT_EQ(shell("ls -A " + quoted(lost_)).out, "shoot.toml\n");
}

}  // namespace
}  // namespace everytake
