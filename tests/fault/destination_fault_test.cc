// Faults of a destination, met by the real program through a filesystem that has them (support/mount).
#include <gtest/gtest.h>

#include <boost/filesystem.hpp>
#include <thread>

#include "support/mount/mounted_shoot.h"
#include "support/rooms.h"

namespace everytake {
namespace {

using test::quoted;
using test::shell;

class DestinationFaults : public test::MountedShoot {
 protected:
  // This run, under these rules: nothing wrong at "desk", and "shuttle" is whole. Its report.
  nlohmann::json offload_under(const std::string& rules, int exit) {
    mount_->rules(rules);
    const auto report = json(offload(), exit);
    expect_nothing_wrong_at(desk_);
    EXPECT_TRUE(is_whole(shuttle_.path()));
    EXPECT_EQ(is_safe(), exit == 0);
    return report;
  }

  void heal() const {
    mount_->rules("");
    expect_whole_later();
  }

  void start_anew() {
    mount_->rules("");
    shell("rm -rf " + quoted(desk_) + "/* " + quoted(shuttle_.path()) + "/* " + quoted(shoot_) + "/catalogue*");
  }

  // Looks until it is, for three minutes at most: the program leaves a disk behind after one. It looks at what another
  // process writes, and nothing tells when that is whole; the time is an end to a failing test, no part of a good one.
  bool becomes_whole(const Path& destination) const {
    const auto end = std::chrono::steady_clock::now() + std::chrono::minutes(3);
    while (!is_whole(destination) && std::chrono::steady_clock::now() < end)
      std::this_thread::sleep_for(std::chrono::milliseconds(100));
    return is_whole(destination);
  }

  // How often the calls that could change something begin with `text`.
  int logged(const std::string& text) const {
    int count = 0;
    const auto log = "\n" + mount_->log();
    for (auto at = log.find("\n" + text); at != std::string::npos; at = log.find("\n" + text, at + 1)) ++count;
    return count;
  }
  static int finals(const Path& destination) {
    return std::stoi(shell("find " + quoted(destination) + " -path '*/R001/*' -type f | wc -l").out);
  }

  std::string clip(const char* name) const { return "saltmarsh-radio/R001/PRIVATE/M4ROOT/CLIP/" + std::string(name); }
};

TEST_F(DestinationFaults, ADiskThatFillsOrAQuotaThatEndsStopsItAlone) {
  EVERYTAKE_NEEDS_MOUNT(mount_desk());
  for (const char* error : {"ENOSPC", "EDQUOT"}) {
    SCOPED_TRACE(error);
    start_anew();
    const auto report =
        offload_under(std::string("write [0-9a-f]*-[0-9]*.everytake-part err over=1000000 errno=") + error, 6);
    EXPECT_TRUE(tells(report, "no_room", "desk"));
    heal();
  }
}

TEST_F(DestinationFaults, AFailedWriteIsWrittenAnewUnderANewName) {
  EVERYTAKE_NEEDS_MOUNT(mount_desk());
  offload_under("write [0-9a-f]*-[0-9]*.everytake-part eio at=2000000 times=1", 0);
  EXPECT_EQ(logged("create /saltmarsh-radio/R001/"), 5);  // four files, one of them twice
  start_anew();
  const auto report = offload_under("write [0-9a-f]*-[0-9]*.everytake-part eio at=2000000", 1);
  EXPECT_TRUE(tells(report, "copy_failed", "C0001.MP4"));
  EXPECT_EQ(finals(desk_), 3);
  heal();
}

// The pages may be gone although the next sync says yes.
TEST_F(DestinationFaults, AFailedSyncIsNeverAskedAgainButWrittenAnew) {
  EVERYTAKE_NEEDS_MOUNT(mount_desk());
  offload_under("fsync [0-9a-f]*-[0-9]*.everytake-part eio times=1", 0);
  EXPECT_EQ(logged("create /saltmarsh-radio/R001/"), 5);
  start_anew();
  offload_under("fsync [0-9a-f]*-[0-9]*.everytake-part eio", 1);
  EXPECT_EQ(finals(desk_), 0);
  heal();
}

TEST_F(DestinationFaults, AFolderThatCanNotBeSyncedHoldsNothingVerified) {
  EVERYTAKE_NEEDS_MOUNT(mount_desk());
  const auto report = offload_under("fsyncdir CLIP eio", 1);
  EXPECT_EQ(report["destinations"][0]["files"], 0);
  heal();
}

TEST_F(DestinationFaults, AFailedCloseIsAFailedCopy) {
  EVERYTAKE_NEEDS_MOUNT(mount_desk());
  offload_under("close [0-9a-f]*-[0-9]*.everytake-part eio", 1);
  EXPECT_EQ(finals(desk_), 0);
  heal();
  start_anew();
  EXPECT_TRUE(tells(offload_under("close [0-9a-f]*-[0-9]*.everytake-part err errno=EDQUOT", 6), "no_room"));
  heal();
}

TEST_F(DestinationFaults, ANameThatIsTakenOrRefusedIsNeverWrittenOver) {
  EVERYTAKE_NEEDS_MOUNT(mount_desk());
  EXPECT_TRUE(tells(offload_under("rename C0001.MP4 err errno=EEXIST", 1), "name_taken", "C0001.MP4"));
  heal();
  start_anew();
  offload_under("rename C0001.MP4 eio", 1);
  heal();
}

// Somebody takes the name between the first look at it and the renaming.
TEST_F(DestinationFaults, ANameTakenMeanwhileIsKeptWhateverRenamingKnows) {
  for (const auto& options : {std::vector<std::string>{}, {"--no-replace-flag"}, {"--no-replace-flag", "--no-links"}}) {
    SCOPED_TRACE(options.size());
    EVERYTAKE_NEEDS_MOUNT(mount_desk(options));
    start_anew();
    mount_->rules("write [0-9a-f]*-[0-9]*.everytake-part stall at=2000000");
    test::Ran ran;
    std::thread running([&] { ran = everytake(offload()); });
    mount_->await_stall();
    test::put_file(behind_desk_ / clip("C0001.MP4"), "somebody's own");
    boost::filesystem::last_write_time(behind_desk_ / clip("C0001.MP4"), 1'000'000'000);  // not the clip's time
    mount_->rules("");
    running.join();
    EXPECT_EQ(ran.exit, 1) << ran.out;
    EXPECT_EQ(test::get_file(behind_desk_ / clip("C0001.MP4")), "somebody's own");
    EXPECT_FALSE(is_safe());
    EXPECT_EQ(everytake(offload()).exit, 1);
    EXPECT_EQ(test::get_file(behind_desk_ / clip("C0001.MP4")), "somebody's own");
    boost::filesystem::remove(behind_desk_ / clip("C0001.MP4"));
    heal();
  }
}

TEST_F(DestinationFaults, WhatTheDiskWroteWrongIsFoundAndWrittenAnew) {
  for (const char* cache : {"--cache=keep", "--cache=none"}) {
    EVERYTAKE_NEEDS_MOUNT(mount_desk({cache}));
    for (const char* fault : {"flip", "drop", "torn"}) {
      SCOPED_TRACE(std::string(cache) + " " + fault);
      start_anew();
      offload_under(std::string("write [0-9a-f]*-[0-9]*.everytake-part ") + fault + " at=2000000 times=1", 0);
    }
  }
}

TEST_F(DestinationFaults, ADiskThatAlwaysWritesWrongHasNothingUnderAFinalName) {
  EVERYTAKE_NEEDS_MOUNT(mount_desk({"--cache=keep"}));
  const auto report = offload_under("write [0-9a-f]*-[0-9]*.everytake-part flip at=0", 4);
  EXPECT_TRUE(tells(report, "bytes_differ", "C0001.MP4"));
  EXPECT_EQ(finals(desk_), 0);
  heal();
}

TEST_F(DestinationFaults, ADiskThatLiedAboutSyncingIsFoundOutAfterAPowerCut) {
  EVERYTAKE_NEEDS_MOUNT(mount_desk({"--volatile"}));
  mount_->rules("fsync [0-9a-f]*-[0-9]*.everytake-part drop");  // of clips: without its mark nobody would know the disk
  EXPECT_EQ(everytake(offload()).exit, 0);                      // nobody can know
  mount_->power_cut(0);
  EXPECT_FALSE(is_safe());
  EXPECT_NE(everytake("verify").exit, 0);
  EXPECT_FALSE(is_safe());
  mount_->rules("");
  EXPECT_EQ(everytake("verify --repair").exit, 0);
  EXPECT_TRUE(is_safe());
  mount_->power_cut(0);
  EXPECT_TRUE(is_safe());
  EXPECT_TRUE(is_whole(desk_));
}

TEST_F(DestinationFaults, WhatIsVerifiedSurvivesAPowerCut) {
  EVERYTAKE_NEEDS_MOUNT(mount_desk({"--volatile"}));
  for (const unsigned seed : {0U, 1U, 2U}) {
    start_anew();
    EXPECT_EQ(everytake(offload()).exit, 0);
    mount_->power_cut(seed);
    EXPECT_TRUE(is_whole(desk_));
    EXPECT_EQ(everytake("verify").exit, 0);
    EXPECT_TRUE(is_safe());
  }
}

TEST_F(DestinationFaults, ADiskWithoutDirectReadingIsReadPastTheCache) {
  EVERYTAKE_NEEDS_MOUNT(mount_desk({"--no-direct"}));
  EXPECT_EQ(offload_under("", 0)["destinations"][0]["readback"], "dropped");
}

// Names it can't hold are others there, all of them the card's own again when the catalogue is made anew from it.
TEST_F(DestinationFaults, ADiskWithOtherRulesForNamesHoldsEveryFileUnderANameItTakes) {
  put("PRIVATE/M4ROOT/CLIP/c0001.mp4", 5000);
  put("PRIVATE/M4ROOT/CLIP/what?.XML", 20);
  EVERYTAKE_NEEDS_MOUNT(mount_desk(
      {"--no-case", "--forbid=<>:\"|?*\\", "--time-grain=2", "--no-modes", "--no-links", "--no-replace-flag"}));
  const auto report = json(offload(), 0);
  EXPECT_EQ(report["destinations"][0]["files"], 6);
  EXPECT_EQ(report["problems"].size(), 0U) << report["problems"];
  EXPECT_TRUE(is_safe());
  EXPECT_TRUE(is_whole(shuttle_.path()));
  EXPECT_EQ(test::get_file(desk_ / "saltmarsh-radio/R001.names"),
            "PRIVATE/M4ROOT/CLIP/c0001~2.mp4  PRIVATE/M4ROOT/CLIP/c0001.mp4\n"
            "PRIVATE/M4ROOT/CLIP/what%253F.XML  PRIVATE/M4ROOT/CLIP/what%3F.XML\n");
  EXPECT_FALSE(boost::filesystem::exists(shuttle_ / "saltmarsh-radio/R001.names"));
  EXPECT_EQ(shell("cd " + quoted(roll_at(desk_)) + " && xxhsum -c --strict ../R001.xxh128").exit, 0);
  EXPECT_EQ(json(offload(), 0)["destinations"][0]["already_files"], 6);
  EXPECT_EQ(everytake("verify").exit, 0);

  // Copied on from there, when the other disk lost everything.
  shell("rm -rf " + quoted(shuttle_.path()) + "/*");
  EXPECT_EQ(everytake("verify --repair").exit, 0);
  EXPECT_TRUE(is_whole(shuttle_.path()));

  // One of two that are alike goes bad: the other stays where it is.
  const auto other = desk_ / "saltmarsh-radio/R001/PRIVATE/M4ROOT/CLIP/c0001~2.mp4";
  test::put_file(other, std::string(5000, 'x'));
  EXPECT_EQ(everytake("verify --repair").exit, 0);
  EXPECT_EQ(test::get_file(other), test::get_file(card_ / "PRIVATE/M4ROOT/CLIP/c0001.mp4"));
  EXPECT_FALSE(boost::filesystem::exists(desk_ / "saltmarsh-radio/R001.bad/PRIVATE/M4ROOT/CLIP/C0001.MP4"));
  EXPECT_TRUE(is_safe());

  // With the catalogue that is kept there, and without it: then the other disk's copies are not known.
  const auto rebuild = [&] {
    shell("rm -f " + quoted(shoot_) + "/catalogue*");
    EXPECT_EQ(everytake("rebuild " + quoted(desk_)).exit, 0);
    const auto paths = shell("sqlite3 " + quoted(shoot_) + "/catalogue.sqlite 'SELECT path FROM file ORDER BY path'");
    EXPECT_EQ(paths.out, shell("cd " + quoted(card_) + " && find * -type f | LC_ALL=C sort").out);
  };
  rebuild();
  EXPECT_EQ(everytake("verify").exit, 0);
  EXPECT_EQ(json(offload(), 0)["destinations"][0]["already_files"], 6);
  EXPECT_TRUE(is_safe());
  shell("rm " + quoted(desk_) + "/saltmarsh-radio/catalogue.sqlite");
  rebuild();
  EXPECT_NE(everytake("verify").exit, 3);
  EXPECT_EQ(
      shell("sqlite3 " + quoted(shoot_) + "/catalogue.sqlite \"SELECT count(*) FROM copy WHERE state = 'verified'\"")
          .out,
      "6\n");
}

TEST_F(DestinationFaults, AFileTooLargeForTheDiskIsRefusedBeforeItsFirstByte) {
  EVERYTAKE_NEEDS_MOUNT(mount_desk({"--most-bytes=2000000"}));
  const auto report = offload_under("write [0-9a-f]*-[0-9]*.everytake-part stall at=2000000", 1);  // would never end
  EXPECT_TRUE(tells(report, "copy_failed", "C0001.MP4"));
  EXPECT_EQ(report["destinations"][0]["files"], 3);
}

TEST_F(DestinationFaults, ADiskThatHangsHoldsUpNoOther) {
  EVERYTAKE_NEEDS_MOUNT(mount_desk());
  mount_->rules("write [0-9a-f]*-[0-9]*.everytake-part stall");
  test::Ran ran;
  std::thread running([&] { ran = everytake(offload()); });
  mount_->await_stall();
  EXPECT_TRUE(becomes_whole(shuttle_.path()));
  EXPECT_FALSE(is_safe());
  mount_->rules("");
  running.join();
  EXPECT_EQ(ran.exit, 0) << ran.err;
  EXPECT_TRUE(is_safe());
}

// More on the card than may be on its way at once: the disk is left behind after a minute.
TEST_F(DestinationFaults, ADiskThatHangsForLongIsLeftBehind) {
  for (const char* name : {"C0004.MP4", "C0005.MP4"}) put(std::string("PRIVATE/M4ROOT/CLIP/") + name, 80'000'000);
  EVERYTAKE_NEEDS_MOUNT(mount_desk());
  mount_->rules("write [0-9a-f]*-[0-9]*.everytake-part stall");
  test::Ran ran;
  std::thread running([&] { ran = everytake(offload("--json ")); });
  mount_->await_stall();
  EXPECT_TRUE(becomes_whole(shuttle_.path()));
  EXPECT_FALSE(is_safe());
  mount_->rules("");  // it answers again
  running.join();
  EXPECT_EQ(ran.exit, 6) << ran.err;
  EXPECT_NE(ran.err.find("desk has not answered for"), std::string::npos) << ran.err;
  EXPECT_TRUE(tells(nlohmann::json::parse(ran.out), "destination_lost", "its disk took nothing for 60 s"));
  expect_nothing_wrong_at(desk_);
  heal();
}

}  // namespace
}  // namespace everytake
