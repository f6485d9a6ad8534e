// Faults of real filesystems and limits, met by the real program. Those that mount need root and are left out without.
#include <gtest/gtest.h>
#include <unistd.h>

#include <boost/filesystem.hpp>

#include "support/rooms.h"
#include "support/sanitized.h"
#include "support/shoot_bench.h"

namespace everytake {
namespace {

using test::quoted;
using test::shell;

class RealFaults : public test::ShootBench {
 protected:
  RealFaults() {
    put("PRIVATE/M4ROOT/CLIP/C0001.MP4", 3'000'000);
    put("PRIVATE/M4ROOT/CLIP/C0002.MP4", 200'000);
    put("PRIVATE/M4ROOT/CLIP/C0003.MP4", 100);
  }
  ~RealFaults() override {
    if (mounted_) shell("umount -l " + quoted(desk_));
  }

  // The first destination as a filesystem in memory with these options.
  bool mount_desk(const std::string& options) {
    auto text = plan();
    text.insert(text.find("[[destination]]\nname = \"shuttle\""), "accept_cached = true\nsame_disk = \"allow\"\n");
    test::put_file(shoot_ / "shoot.toml", text);
    mounted_ = shell("mount -t tmpfs -o " + options + " tmpfs " + quoted(desk_)).exit == 0;
    return mounted_;
  }

  std::string offload() const { return "offload --no-study " + quoted(card_); }

  // The other destination went on, and with the fault gone another run brings all.
  void expect_whole_later() const {
    EXPECT_EQ(everytake(offload()).exit, 0);
    for (const auto& destination : {desk_, shuttle_.path()})
      EXPECT_EQ(shell("diff -r " + quoted(card_) + " " + quoted(destination / "saltmarsh-radio/R001")).exit, 0);
    EXPECT_EQ(shell("find " + quoted(desk_) + " -name '*.everytake-part'").out, "");
  }

  bool mounted_ = false;
};

TEST_F(RealFaults, ADestinationWithoutRoomIsRefusedAndTheOtherGoesOn) {
  if (!mount_desk("size=2m")) GTEST_SKIP() << "mounting needs root: nothing was tried";
  const auto report = json(offload(), 6);
  EXPECT_EQ(report["destinations"][0]["state"], "failed");
  EXPECT_EQ(report["destinations"][1]["state"], "verified");
  EXPECT_EQ(everytake("safe " + quoted(card_)).exit, 1);
  shell("mount -o remount,size=50m " + quoted(desk_));
  expect_whole_later();
}

TEST_F(RealFaults, ADestinationWithoutInodesStopsAndTheOtherGoesOn) {
  if (!mount_desk("size=50m,nr_inodes=6")) GTEST_SKIP() << "mounting needs root: nothing was tried";
  const auto report = json(offload(), 6);
  EXPECT_EQ(report["destinations"][1]["state"], "verified");
  EXPECT_EQ(everytake("safe " + quoted(card_)).exit, 1);
  shell("mount -o remount,nr_inodes=500 " + quoted(desk_));
  expect_whole_later();
}

TEST_F(RealFaults, AReadOnlyDestinationIsRefusedAndTheOtherGoesOn) {
  if (!mount_desk("size=50m,ro")) GTEST_SKIP() << "mounting needs root: nothing was tried";
  const auto report = json(offload(), 6);
  EXPECT_EQ(report["destinations"][0]["state"], "failed");
  EXPECT_EQ(report["destinations"][1]["state"], "verified");
  shell("mount -o remount,rw " + quoted(desk_));
  expect_whole_later();
}

TEST_F(RealFaults, AFullDiskUnderTheCatalogueEndsTheWorkCleanly) {
  auto text = plan();
  shell("mkdir -p " + quoted(dir_ / "small"));
  if (shell("mount -t tmpfs -o size=64k tmpfs " + quoted(dir_ / "small")).exit != 0)
    GTEST_SKIP() << "mounting needs root: nothing was tried";
  test::put_file(dir_ / "small/shoot.toml", text);
  const auto to = program() + " --shoot " + quoted(dir_ / "small") + " ";
  const auto ran = shell(to + offload());
  EXPECT_EQ(ran.exit, 6) << ran.err;
  EXPECT_NE(shell(to + "safe " + quoted(card_)).exit, 0);
  shell("mount -o remount,size=20m " + quoted(dir_ / "small"));
  EXPECT_EQ(shell(to + offload()).exit, 0);
  EXPECT_EQ(shell("sqlite3 " + quoted(dir_ / "small/catalogue.sqlite") + " 'PRAGMA integrity_check'").out, "ok\n");
  shell("umount -l " + quoted(dir_ / "small"));
}

// 128 and more would be a signal: a crash, or SIGXFSZ not ignored.
TEST_F(RealFaults, LimitsOfTheProcessAreErrorsNotCrashes) {
  for (const char* limit : {"-n 12", "-n 20", "-f 64", "-f 2000", "-v 150000"}) {
    if (test::kSanitized && std::string_view(limit).starts_with("-v")) continue;  // it needs terabytes of addresses
    SCOPED_TRACE(limit);
    const auto ran = shell("(ulimit " + std::string(limit) + "; exec " + program() + " --shoot " + quoted(shoot_) +
                           " " + offload() + ")");
    EXPECT_LT(ran.exit, 128) << ran.err;
    EXPECT_EQ(everytake("safe " + quoted(card_)).exit == 0, ran.exit == 0);
    shell("rm -rf " + quoted(desk_) + "/* " + quoted(shuttle_.path()) + "/* " + quoted(shoot_) + "/catalogue.sqlite*");
  }
  expect_whole_later();
}

// EVERYTAKE_STOPPED_SECONDS says for how long; else it is a moment.
TEST_F(RealFaults, AProgramStoppedAndContinuedGoesOn) {
  // Continued once the kernel says that it is stopped (or has ended already).
  const auto ran = shell(program() + " --shoot " + quoted(shoot_) + " " + offload() +
                         " & pid=$!; kill -STOP $pid; until grep -qE ' [TZ] ' /proc/$pid/stat; do :; done; "
                         "sleep ${EVERYTAKE_STOPPED_SECONDS:-0}; kill -CONT $pid; wait $pid");
  EXPECT_EQ(ran.exit, 0) << ran.err;
  EXPECT_EQ(everytake("safe " + quoted(card_)).exit, 0);
}

}  // namespace
}  // namespace everytake
