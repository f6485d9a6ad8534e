// Faults of a card and its reader, met by the real program through a filesystem that has them (support/mount).
#include <gtest/gtest.h>

#include <boost/filesystem.hpp>
#include <thread>

#include "support/mount/mounted_shoot.h"
#include "support/rooms.h"
#include "support/sanitized.h"

namespace everytake {
namespace {

using test::quoted;
using test::shell;

class CardFaults : public test::MountedShoot {
 protected:
  ~CardFaults() override {
    // Whatever went wrong: nothing was ever done to the card that could change it.
    if (!mount_ || !mount_->is_mounted()) return;
    EXPECT_TRUE(mount_->log().starts_with("stalled ")) << mount_->log();
  }

  // This run, under these rules: no yes, and nothing wrong anywhere. Its report.
  nlohmann::json offload_under(const std::string& rules, int exit, const std::string& options = "") {
    mount_->rules(rules);
    const auto report = json(offload(options), exit);
    expect_nothing_wrong_at(desk_);
    expect_nothing_wrong_at(shuttle_.path());
    EXPECT_EQ(is_safe(), exit == 0);
    return report;
  }

  void expect_verified(const nlohmann::json& report, int files) const {
    for (const auto& each : report["destinations"]) EXPECT_EQ(each["files"], files) << each;
  }

  void heal() const {
    mount_->rules("");
    expect_whole_later();
  }

  // In the background, until the card stalls under its reading.
  void offload_until_stalled(const std::string& rules) {
    mount_->rules(rules);
    running_ = std::thread([this] { ran_ = everytake(offload()); });
    mount_->await_stall();
  }

  std::thread running_;
  test::Ran ran_;
};

TEST_F(CardFaults, AByteThatCanNotBeReadCostsItsFileOnly) {
  EVERYTAKE_NEEDS_MOUNT(mount_card());
  const auto report = offload_under("read C0001.MP4 eio at=2000000", 5);
  EXPECT_TRUE(tells(report, "unreadable", "(at byte 0)"));  // of the block that holds it
  expect_verified(report, 3);
  heal();
}

TEST_F(CardFaults, AByteThatCanBeReadTheSecondTimeIsReadTwiceMore) {
  EVERYTAKE_NEEDS_MOUNT(mount_card());
  offload_under("read C0001.MP4 eio at=2000000 times=1", 0);
  EXPECT_EQ(shell("sqlite3 " + quoted(shoot_ / "catalogue.sqlite") +
                  " \"SELECT readings FROM file WHERE CAST(path AS TEXT) LIKE '%C0001.MP4'\"")
                .out,
            "2\n");
}

TEST_F(CardFaults, AReaderThatGivesOtherBytesTheSecondTimeIsBlamed) {
  for (const char* cache : {"--cache=none", "--cache=keep"})
    for (const char* fault : {"flip at=70000 on=1", "flip at=2999999 on=2", "zero at=65536 len=65536 on=1"}) {
      SCOPED_TRACE(std::string(cache) + " " + fault);
      EVERYTAKE_NEEDS_MOUNT(mount_card({cache}));
      mount_->rules(std::string("read C0001.MP4 ") + fault);
      const auto report = json(offload("--twice "), 4);
      EXPECT_TRUE(tells(report, "bytes_differ", "try another reader"));
      EXPECT_FALSE(is_safe());
      mount_->rules("");
      EXPECT_EQ(everytake("safe --deep " + quoted(seen_card_)).exit, 1);
      shell("rm -rf " + quoted(desk_) + "/* " + quoted(shuttle_.path()) + "/* " + quoted(shoot_) + "/catalogue*");
    }
}

TEST_F(CardFaults, AReaderThatNeverGivesTheSameBytesIsNeverTrusted) {
  EVERYTAKE_NEEDS_MOUNT(mount_card());
  std::string rules;
  for (int reading = 1; reading <= 40; ++reading)
    rules += "read C0002.MP4 flip at=" + std::to_string(1000 * reading) + " on=" + std::to_string(reading) + "\n";
  mount_->rules(rules);
  for (int visit = 0; visit < 3; ++visit) {
    EXPECT_EQ(json(offload("--twice "), 4)["safe_to_wipe"], false);
    EXPECT_FALSE(is_safe());
    EXPECT_EQ(everytake("safe --deep " + quoted(seen_card_)).exit, 1);
  }
}

TEST_F(CardFaults, ShortReadsAreReadOn) {
  EVERYTAKE_NEEDS_MOUNT(mount_card({"--cache=none"}));
  for (const char* most : {"65536", "1000", "4097"}) {
    SCOPED_TRACE(most);
    offload_under(std::string("read * short max=") + most, 0);
    shell("rm -rf " + quoted(desk_) + "/* " + quoted(shuttle_.path()) + "/* " + quoted(shoot_) + "/catalogue*");
  }
}

TEST_F(CardFaults, ACardThatGoesAwayIsToldOnceAndGoesOnLater) {
  for (const char* error : {"ENODEV", "ENXIO", "ESTALE", "ENOMEDIUM"}) {
    SCOPED_TRACE(error);
    EVERYTAKE_NEEDS_MOUNT(mount_card());
    const auto report = offload_under(std::string("read C0002.MP4 gone at=1000000 errno=") + error, 5);
    EXPECT_TRUE(report["problems"].empty()) << report["problems"];  // one message, not one a file
    expect_verified(report, 2);
    heal();
    shell("rm -rf " + quoted(desk_) + "/* " + quoted(shuttle_.path()) + "/* " + quoted(shoot_) + "/catalogue*");
  }
}

TEST_F(CardFaults, ACardThatAnswersNothingButErrorsEndsTheVisit) {
  EVERYTAKE_NEEDS_MOUNT(mount_card());
  offload_under("read C0001.MP4 gone at=1000000 errno=EIO", 5);
  heal();
}

TEST_F(CardFaults, TheServerBeneathTheCardDies) {
  EVERYTAKE_NEEDS_MOUNT(mount_card());
  offload_until_stalled("read C0002.MP4 stall at=500000");
  mount_->die();
  running_.join();
  EXPECT_EQ(ran_.exit, 5) << ran_.err;
  EXPECT_FALSE(is_safe());
  expect_nothing_wrong_at(desk_);
  mount_.reset();
  EVERYTAKE_NEEDS_MOUNT(mount_card());
  heal();
}

TEST_F(CardFaults, AListingThatBreaksOffIsNoEnd) {
  EVERYTAKE_NEEDS_MOUNT(mount_card());
  mount_->rules("readdir CLIP eio after=2");
  const auto none = everytake(offload());
  EXPECT_EQ(none.exit, 5);
  EXPECT_NE(none.err.find("no file of it can be listed"), std::string::npos) << none.err;
  put("PRIVATE/M4ROOT/STATUS.BIN", 50);
  const auto report = offload_under("readdir CLIP eio after=2", 5);
  expect_verified(report, 1);
  EXPECT_TRUE(tells(report, "unreadable", "PRIVATE/M4ROOT/CLIP"));
  heal();
}

TEST_F(CardFaults, AListingThatLeavesAFileOutOnceIsSeen) {
  EVERYTAKE_NEEDS_MOUNT(mount_card());
  for (const char* listing : {"1", "2"}) {
    mount_->rules(std::string("readdir CLIP hide name=C0002.MP4 on=") + listing);
    const auto ran = everytake(offload());
    EXPECT_EQ(ran.exit, 1);
    EXPECT_NE(ran.err.find("two listings differ"), std::string::npos) << ran.err;
  }
  // While it is copied, and at the verdict.
  mount_->rules("readdir CLIP hide name=C0002.MP4 on=3");
  EXPECT_TRUE(tells(json(offload(), 1), "card_changed"));
  heal();
  for (const char* listing : {"1", "2"}) {
    mount_->rules(std::string("readdir CLIP hide name=C0002.MP4 on=") + listing);
    EXPECT_FALSE(is_safe());
  }
}

TEST_F(CardFaults, AFileThatWasHiddenAllTheTimeIsNewWhenItShows) {
  EVERYTAKE_NEEDS_MOUNT(mount_card());
  mount_->rules("readdir CLIP hide name=C0002.MP4");
  EXPECT_EQ(json(offload())["files"], 3);  // nobody can see it
  mount_->rules("");
  EXPECT_FALSE(is_safe());
  EXPECT_EQ(everytake(offload()).exit, 0);
  EXPECT_TRUE(is_safe());
}

TEST_F(CardFaults, AListingThatDoublesNamesGivesEachFileOnce) {
  EVERYTAKE_NEEDS_MOUNT(mount_card());
  expect_verified(offload_under("readdir * dup", 0), 4);
}

TEST_F(CardFaults, AFolderThatIsItsOwnChildEnds) {
  EVERYTAKE_NEEDS_MOUNT(mount_card());
  const auto report = offload_under("readdir CLIP loop name=AGAIN", 1);
  EXPECT_TRUE(tells(report, "loop", "AGAIN"));
  expect_verified(report, 4);
  heal();
}

TEST_F(CardFaults, AFileThatCanNotBeLookedAtIsNoFileLess) {
  EVERYTAKE_NEEDS_MOUNT(mount_card());
  const auto report = offload_under("getattr C0002.MP4 eio", 5);
  EXPECT_TRUE(tells(report, "unreadable", "C0002.MP4"));
  expect_verified(report, 3);
  heal();
}

TEST_F(CardFaults, AFileThatChangesWhileItIsReadIsReadAgainOrFails) {
  for (const char* change : {"append at=100000 len=500", "truncate at=100000 to=200000", "touch at=100000"}) {
    SCOPED_TRACE(change);
    EVERYTAKE_NEEDS_MOUNT(mount_card());
    mount_->rules(std::string("read C0001.MP4 ") + change);
    const auto ran = everytake("--json " + offload());
    EXPECT_NE(ran.exit, 0) << ran.out;
    if (is_safe()) {  // touched only, and within the grain of FAT's times: the bytes are the same
      EXPECT_TRUE(is_whole(desk_) && is_whole(shuttle_.path()));
    }
    heal();
    shell("rm -rf " + quoted(desk_) + "/* " + quoted(shuttle_.path()) + "/* " + quoted(shoot_) + "/catalogue*");
  }
}

TEST_F(CardFaults, ACardThatStallsHoldsUpNoOther) {
  EVERYTAKE_NEEDS_MOUNT(mount_card());
  offload_until_stalled("read C0001.MP4 stall at=500000");
  test::put_file(dir_ / "other-card/DCIM/100MEDIA/A001.MP4", std::string(200'000, 'b'));
  EXPECT_EQ(everytake("offload --no-study " + quoted(dir_ / "other-card")).exit, 0);
  EXPECT_FALSE(is_safe());
  mount_->rules("");
  running_.join();
  EXPECT_EQ(ran_.exit, 0) << ran_.err;
  EXPECT_TRUE(is_safe());
}

TEST_F(CardFaults, ASlowCardIsCopiedAndCanBeStopped) {
  EVERYTAKE_NEEDS_MOUNT(mount_card());
  mount_->rules("read C0002.MP4 slow mbps=1\nread C0002.MP4 stall at=1200000");
  const auto command = program() + " --shoot " + quoted(shoot_) + " " + offload();
  std::thread running([&] { ran_ = shell("echo $$ > " + quoted(dir_ / "pid") + "; exec " + command); });
  mount_->await_stall();
  shell("kill -INT $(cat " + quoted(dir_ / "pid") + ")");
  mount_->rules("");
  running.join();
  EXPECT_EQ(ran_.exit, 130) << ran_.err;
  EXPECT_FALSE(is_safe());
  expect_nothing_wrong_at(desk_);
  heal();
}

// In the middle of a file, whose first blocks are on their way to both disks. EVERYTAKE_STOPPED_SECONDS says for how
// long; else it is a moment.
TEST_F(CardFaults, AProgramStoppedInTheMiddleOfCopyingGoesOn) {
  put("PRIVATE/M4ROOT/CLIP/C0004.MP4", 20'000'000);
  EVERYTAKE_NEEDS_MOUNT(mount_card());
  mount_->rules("read C0004.MP4 stall at=14000000");
  const auto command = program() + " --shoot " + quoted(shoot_) + " " + offload();
  std::thread running([&] { ran_ = shell("echo $$ > " + quoted(dir_ / "pid") + "; exec " + command); });
  mount_->await_stall();
  const auto pid = "$(cat " + quoted(dir_ / "pid") + ")";
  shell("kill -STOP " + pid + "; timeout 10 sh -c \"until grep -qE ' [TZ] ' /proc/" + pid + "/stat; do :; done\"");
  mount_->rules("");
  shell("sleep ${EVERYTAKE_STOPPED_SECONDS:-0}; kill -CONT " + pid);
  running.join();
  EXPECT_EQ(ran_.exit, 0) << ran_.err;
  EXPECT_TRUE(is_safe());
}

// The daemon looks into a clip as soon as its copies are whole.
TEST_F(CardFaults, AClipIsStudiedWhileTheNextIsStillBeingCopied) {
  const Path watched = dir_ / "watched";
  boost::filesystem::create_directories(watched);
  mount_.emplace(card_, watched / "card", std::vector<std::string>{});
  EVERYTAKE_NEEDS_MOUNT(mount_->is_mounted());
  mount_->rules("read C0002.MP4 stall at=500000");
  test::Ran ran;
  std::thread running([&] {
    ran = shell(quoted(Path(EVERYTAKE_BINARY_DIR) / "everytaked") + " --shoot " + quoted(shoot_) + " --watch " +
                quoted(watched) + " --once");
  });
  mount_->await_stall();
  // Its bytes are no recording, and that is said once it was looked at.
  std::string problems;
  const auto patience = std::chrono::steady_clock::now() + std::chrono::minutes(test::kSanitized ? 5 : 1);
  while (problems.find("unreadable") == std::string::npos && std::chrono::steady_clock::now() < patience)
    problems = everytake("--json show C0001").out;
  EXPECT_NE(problems.find("unreadable"), std::string::npos) << problems;
  EXPECT_EQ(shell("find " + quoted(desk_) + " -name C0002.MP4").out, "");
  mount_->rules("");
  running.join();
  EXPECT_EQ(ran.exit, 0) << ran.out << ran.err;
}

}  // namespace
}  // namespace everytake
