// verify, rebuild and what lies beside the copies, by the real program on real files.
#include <gtest/gtest.h>

#include <boost/filesystem.hpp>
#include <set>

#include "support/rooms.h"
#include "support/shoot_bench.h"

namespace everytake {
namespace {

using test::get_file;
using test::quoted;
using test::shell;

class VerifyProgram : public test::ShootBench {
 protected:
  VerifyProgram() {
    put("PRIVATE/M4ROOT/CLIP/C0001.MP4", 3'000'001);
    put("PRIVATE/M4ROOT/CLIP/C0002.MP4", 100);
    put("PRIVATE/M4ROOT/CLIP/line\nbreak", 50);
  }
  Path clip(const Path& destination, const std::string& roll = "R001") const {
    return destination / "saltmarsh-radio" / roll / "PRIVATE/M4ROOT/CLIP/C0001.MP4";
  }
  // One byte, with size and time as they were.
  static void rot(const Path& file) {
    shell("touch -r " + quoted(file) + " " + quoted(file.string() + ".t") + " && printf X | dd of=" + quoted(file) +
          " bs=1 seek=2000000 conv=notrunc 2>/dev/null && touch -r " + quoted(file.string() + ".t") + " " +
          quoted(file) + " && rm " + quoted(file.string() + ".t"));
  }
};

TEST_F(VerifyProgram, FindsAndMendsACopyThatWentBad) {
  ASSERT_EQ(everytake("offload --no-study " + quoted(card_)).exit, 0);
  EXPECT_EQ(everytake("verify").exit, 0);
  const auto good = get_file(clip(desk_));
  rot(clip(desk_));
  const auto found = json("verify R001", 4);
  EXPECT_EQ(found["destinations"][0]["differing_files"], 1);
  EXPECT_EQ(found["destinations"][1]["state"], "verified");
  EXPECT_EQ(found["problems"][0]["code"], "bytes_differ");
  EXPECT_EQ(everytake("safe " + quoted(card_)).exit, 1);

  boost::filesystem::remove_all(card_ / "PRIVATE");  // the card is in the camera again
  const auto repaired = json("verify --repair");
  EXPECT_EQ(repaired["destinations"][0]["mended_files"], 1);
  EXPECT_EQ(repaired["destinations"][0]["state"], "verified");
  EXPECT_EQ(get_file(clip(desk_)), good);
  EXPECT_TRUE(boost::filesystem::exists(clip(desk_, "R001.bad")));
  // xxhsum (xxHash) and sha256sum (GNU coreutils) agree.
  const auto roll = quoted(desk_ / "saltmarsh-radio/R001");
  EXPECT_EQ(shell("cd " + roll + " && xxhsum -c --strict ../R001.xxh128").exit, 0);
  EXPECT_EQ(shell("cd " + roll + " && sha256sum -c --strict ../R001.sha256").exit, 0);
  EXPECT_EQ(everytake("verify").exit, 0);
}

TEST_F(VerifyProgram, CatchesUpWithTheOtherDestinationWhenTheCardIsGone) {
  boost::filesystem::remove_all(desk_);
  EXPECT_EQ(everytake("offload --no-study " + quoted(card_)).exit, 6);
  shell("mkdir " + quoted(desk_));
  boost::filesystem::remove_all(card_ / "PRIVATE");
  const auto repaired = json("verify --repair --destination desk");
  EXPECT_EQ(repaired["destinations"][0]["mended_files"], 3);
  EXPECT_EQ(shell("diff -r " + quoted(desk_ / "saltmarsh-radio/R001") + " " +
                  quoted(shuttle_.path() / "saltmarsh-radio/R001"))
                .exit,
            0);
}

TEST_F(VerifyProgram, RefusesWhatIsNotThereInOneSentence) {
  ASSERT_EQ(everytake("offload --no-study " + quoted(card_)).exit, 0);
  EXPECT_EQ(everytake("verify R009").exit, 3);
  EXPECT_EQ(everytake("verify --destination attic").exit, 3);
  boost::filesystem::rename(desk_, desk_.string() + ".away");
  EXPECT_EQ(json("verify", 6)["destinations"][0]["state"], "absent");
}

TEST_F(VerifyProgram, LeavesTheCatalogueAndThePlanBesideTheRolls) {
  ASSERT_EQ(everytake("offload --no-study " + quoted(card_)).exit, 0);
  for (const auto& destination : {desk_, shuttle_.path()}) {
    const auto folder = destination / "saltmarsh-radio";
    EXPECT_EQ(get_file(folder / "shoot.toml"), get_file(shoot_ / "shoot.toml"));
    // sqlite3 (the SQLite project's shell) reads it.
    EXPECT_EQ(
        shell("sqlite3 " + quoted(folder / "catalogue.sqlite") + " 'PRAGMA integrity_check; SELECT count(*) FROM file'")
            .out,
        "ok\n3\n");
  }
}

class RebuildProgram : public VerifyProgram {
 protected:
  nlohmann::json rebuild(const Path& shoot, const std::string& arguments, int exit = 0) {
    const auto ran = shell(program() + " --json --shoot " + quoted(shoot) + " rebuild " + arguments);
    EXPECT_EQ(ran.exit, exit) << ran.err;
    return nlohmann::json::parse(ran.out, nullptr, false);
  }
  Path lost_ = dir_ / "new laptop";
};

TEST_F(RebuildProgram, LosesNothingWithTheLaptop) {
  ASSERT_EQ(everytake("offload " + quoted(card_)).exit, 0);
  ASSERT_EQ(everytake("tag C0001 --member Ada").exit, 0);
  put("PRIVATE/M4ROOT/CLIP/C0003.MP4", 70);
  ASSERT_EQ(everytake("offload " + quoted(card_)).exit, 0);  // the tag travels with the next roll
  boost::filesystem::remove_all(shoot_);
  const auto done = rebuild(lost_, quoted(desk_));
  EXPECT_EQ(done["from"], "catalogue");
  EXPECT_TRUE(done["plan_restored"]);
  EXPECT_EQ(done["rolls"], 2);
  EXPECT_EQ(done["files"], 4);
  EXPECT_EQ(done["verified_files"], 4);
  const auto to = program() + " --json --shoot " + quoted(lost_);
  EXPECT_EQ(nlohmann::json::parse(shell(to + " show C0001").out)["clip"]["members"][0], "Ada");
  // The other disk was not read back: its copies don't count until they are.
  EXPECT_EQ(shell(to + " safe " + quoted(card_)).exit, 1);
  EXPECT_EQ(shell(to + " verify").exit, 0);
  EXPECT_EQ(shell(to + " safe " + quoted(card_)).exit, 0);
}

TEST_F(RebuildProgram, IsNotDoneWhereReadingBackShowsNothing) {
  ASSERT_EQ(everytake("offload --no-study " + quoted(card_)).exit, 0);
  auto text = plan();
  text.erase(text.find("accept_cached = true"), 20);
  test::put_file(lost_ / "shoot.toml", text);
  EXPECT_EQ(rebuild(lost_, quoted(shuttle_.path()), 1)["verified_files"], 0);
  EXPECT_EQ(shell("ls -A " + quoted(lost_)).out, "catalogue.sqlite\ncatalogue.sqlite-journal\nshoot.toml\n");
}

TEST_F(RebuildProgram, MakesDoWithTheListsAlone) {
  ASSERT_EQ(everytake("offload " + quoted(card_)).exit, 0);
  test::put_file(desk_ / "saltmarsh-radio/catalogue.sqlite", "damaged");
  rot(clip(desk_));
  boost::filesystem::remove(shoot_ / "catalogue.sqlite");
  const auto done = rebuild(shoot_, quoted(desk_), 4);
  EXPECT_EQ(done["from"], "lists");
  EXPECT_EQ(done["files"], 2);  // the name with a line feed is in no list of this kind
  EXPECT_EQ(done["verified_files"], 1);
  std::set<std::string> codes;
  for (const auto& problem : done["problems"]) codes.insert(problem["code"]);
  EXPECT_EQ(codes, (std::set<std::string>{"kept_catalogue_damaged", "not_in_list", "bytes_differ"}));
}

TEST_F(RebuildProgram, NeverReplacesACatalogueAndRefusesWhatIsNoDestination) {
  ASSERT_EQ(everytake("offload --no-study " + quoted(card_)).exit, 0);
  const auto before = get_file(shoot_ / "catalogue.sqlite");
  EXPECT_EQ(everytake("rebuild " + quoted(desk_)).exit, 3);
  EXPECT_TRUE(get_file(shoot_ / "catalogue.sqlite") == before);
  shell("mkdir " + quoted(dir_ / "empty"));
  rebuild(lost_, quoted(dir_ / "empty"), 3);
  rebuild(lost_, quoted(dir_ / "nowhere"), 3);
  EXPECT_FALSE(boost::filesystem::exists(lost_ / "catalogue.sqlite"));
  EXPECT_EQ(rebuild(lost_, "--no-verify " + quoted(desk_ / "saltmarsh-radio"))["verified_files"], nullptr);
}

TEST_F(VerifyProgram, SaysWhatRoomIsLeftAndWhatWaits) {
  boost::filesystem::remove_all(desk_);
  EXPECT_EQ(everytake("offload --no-study " + quoted(card_)).exit, 6);
  auto status = json("status");
  EXPECT_EQ(status["destinations"][0]["state"], "absent");
  EXPECT_EQ(status["destinations"][0]["waiting_files"], 3);
  EXPECT_EQ(status["destinations"][1]["waiting_files"], 0);
  EXPECT_FALSE(status["rate"]["measured"]);
  EXPECT_TRUE(status["copying"].empty());
  shell("mkdir " + quoted(desk_));
  status = json("status");
  EXPECT_EQ(status["destinations"][0]["state"], "here");
  // df (GNU coreutils) sees the same disk.
  const auto total = std::stoull(shell("df --output=size -B1 " + quoted(desk_) + " | tail -1").out);
  EXPECT_EQ(status["destinations"][0]["total_bytes"], total);
}

}  // namespace
}  // namespace everytake
