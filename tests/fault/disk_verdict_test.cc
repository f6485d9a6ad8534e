// What the real program says of a card when one of its disks is not what it seems: real layers, mounts and devices.
// Needs root and loop devices; without, each says that nothing was tried.
#include <gtest/gtest.h>

#include <boost/filesystem.hpp>
#include <thread>

#include "pipeline/marks.h"
#include "support/mount/images.h"
#include "support/mount/mounted_shoot.h"
#include "support/rooms.h"

namespace everytake {
namespace {

using test::kExt4;
using test::quoted;
using test::shell;

class DiskVerdict : public test::MountedShoot, protected test::Images {
 protected:
  DiskVerdict() { test::put_file(shoot_ / "shoot.toml", plan()); }  // nobody's word but where a test gives it

  void plan_with(const std::string& shuttle, const std::string& more = "") {
    auto text = plan();
    const auto old = shuttle_.path().string();
    text.replace(text.find(old), old.size(), shuttle);
    text.insert(text.find("[want]"), more);
    test::put_file(shoot_ / "shoot.toml", text);
  }
  // The codes of a no.
  std::set<std::string> no() {
    const auto verdict = json("safe " + quoted(seen_card_), 1);
    EXPECT_FALSE(verdict["safe"]);
    std::set<std::string> codes;
    for (const auto& reason : verdict["reasons"]) codes.insert(reason["code"]);
    return codes;
  }
  using Codes = std::set<std::string>;

  Path image_ = dir_ / "images/desk";
};

TEST_F(DiskVerdict, IsNoOnceADiskIsCutOffBeneathItsMount) {
  EVERYTAKE_NEEDS_IMAGE(make_and_mount(image_, kExt4, desk_));
  ASSERT_EQ(everytake(offload()).exit, 0);
  ASSERT_TRUE(is_safe());
  boost::filesystem::resize_file(image_, 0);
  EXPECT_EQ(no(), Codes{"destination_absent"});
}

TEST_F(DiskVerdict, IsNoOnceAFilesystemIsShutDown) {
  for (const char* make : {kExt4, test::kXfs}) {
    SCOPED_TRACE(make);
    EVERYTAKE_NEEDS_IMAGE(make_and_mount(image_, make, desk_));
    ASSERT_EQ(everytake(offload()).exit, 0);
    ASSERT_TRUE(is_safe());
    test::shut_down(desk_);
    EXPECT_EQ(no(), Codes{"destination_absent"});
    unmount(desk_);
    shell("rm -rf " + quoted(shuttle_.path()) + "/* " + quoted(shuttle_.path() / kMarkFile) + " " +
          quoted(shoot_ / "catalogue.sqlite"));
  }
}

TEST_F(DiskVerdict, IsNoWhereTheOtherDestinationIsAViewOfTheFirst) {
  EVERYTAKE_NEEDS_IMAGE(test::own_mounts());
  test::FaultMount view(desk_, dir_ / "view");
  EVERYTAKE_NEEDS_MOUNT(view.is_mounted());
  plan_with(view.path().string());
  const auto ran = everytake(offload());
  EXPECT_EQ(ran.exit, 3) << ran.err;  // both bear one mark
  EXPECT_EQ(shell("find " + quoted(desk_) + " -name '*.MP4'").out, "");
}

TEST_F(DiskVerdict, IsNoForADriverInUserSpaceWithoutAPersonsWord) {
  EVERYTAKE_NEEDS_MOUNT(mount_desk());
  ASSERT_EQ(everytake(offload()).exit, 0);
  EXPECT_EQ(no(), Codes{"same_disk"});
  test::put_file(shoot_ / "shoot.toml", plan_with_word());
  EXPECT_TRUE(is_safe());
  EXPECT_NE(everytake("safe " + quoted(seen_card_)).out.find("the plan's word"), std::string::npos);
}

TEST_F(DiskVerdict, IsNoForAnOverlayThatWritesIntoMemoryOrTheSameDisk) {
  EVERYTAKE_NEEDS_IMAGE(test::own_mounts());
  for (const bool in_memory : {true, false}) {
    const auto base = in_memory ? memory_ / "layers" : dir_ / "layers";
    for (const char* folder : {"lower", "upper", "work"}) boost::filesystem::create_directories(base / folder);
    const auto overlay = dir_ / (in_memory ? "thin" : "thick");
    EVERYTAKE_NEEDS_IMAGE(mount_by("mount -t overlay overlay -o lowerdir=" + (base / "lower").string() +
                                       ",upperdir=" + (base / "upper").string() +
                                       ",workdir=" + (base / "work").string() + " " + quoted(overlay),
                                   overlay));
    const auto to = " --to attic" + std::to_string(in_memory) + "=" + quoted(overlay) + " --to desk=" + quoted(desk_);
    if (in_memory)
      EXPECT_FALSE(json("offload --no-study " + quoted(card_) + to)["safe_to_wipe"]);
    else
      EXPECT_EQ(everytake("offload --no-study " + quoted(card_) + to).exit, 3);
    EXPECT_FALSE(is_safe());
  }
}

TEST_F(DiskVerdict, IsNoForFilesystemsOverTheSameTwoDisks) {
  const auto one = dir_ / "images/one", two = memory_ / "two";
  EVERYTAKE_NEEDS_IMAGE(test::own_mounts());
  const auto first = attach(one), second = attach(two);
  EVERYTAKE_NEEDS_IMAGE(!first.empty() && !second.empty() &&
                        shell("mkfs.btrfs -q -f -d raid0 -m raid0 " + first + " " + second).exit == 0 &&
                        mount_by("mount " + first + " " + quoted(desk_), desk_));
  const auto ran = everytake(offload());  // "desk" is on both the disk and memory, "shuttle" in memory
  EXPECT_EQ(ran.exit, 3) << ran.err;
  EXPECT_NE(ran.err.find("memory"), std::string::npos) << ran.err;
}

TEST_F(DiskVerdict, IsNoWhereARollIsBoundFromTheOtherDestination) {
  EVERYTAKE_NEEDS_IMAGE(test::own_mounts());
  ASSERT_EQ(everytake(offload()).exit, 0);
  ASSERT_TRUE(is_safe());
  const auto here = roll_at(desk_), there = roll_at(shuttle_.path());
  EVERYTAKE_NEEDS_IMAGE(mount_by("mount --bind " + quoted(there) + " " + quoted(here), here));
  EXPECT_FALSE(is_safe());
  unmount(here);
  EXPECT_TRUE(is_safe());
  const auto clip = Path("PRIVATE/M4ROOT/CLIP/C0001.MP4");
  boost::filesystem::copy_file(here / clip, dir_ / "same");
  EVERYTAKE_NEEDS_IMAGE(shell("mount --bind " + quoted(there / clip) + " " + quoted(here / clip)).exit == 0);
  EXPECT_FALSE(is_safe());
  shell("umount " + quoted(here / clip));
}

TEST_F(DiskVerdict, RefusesADestinationOnTheCardAndSaysWhatAFolderDoesNotCover) {
  const auto card = dir_ / "medium";
  EVERYTAKE_NEEDS_IMAGE(make_and_mount(image_, kExt4, card));
  shell("mkdir -p " + quoted(card / "DCIM/100") + " " + quoted(card / "MISC"));
  test::put_file(card / "DCIM/100/C0001.MP4", std::string(300'000, 'c'));
  test::put_file(card / "MISC/LATER.MP4", "not covered");
  shell("mkdir " + quoted(card / "backup"));
  const auto before = shell("find " + quoted(card)).out;
  const auto refused = everytake("offload --no-study " + quoted(card / "DCIM") +
                                 " --to desk=" + quoted(card / "backup") + " --to shuttle=" + quoted(shuttle_.path()));
  EXPECT_EQ(refused.exit, 3) << refused.err;
  EXPECT_EQ(shell("find " + quoted(card)).out, before);
  ASSERT_EQ(everytake("offload --no-study " + quoted(card / "DCIM")).exit, 0);
  const auto yes = everytake("safe " + quoted(card / "DCIM"));
  EXPECT_EQ(yes.exit, 0) << yes.out;
  EXPECT_NE(yes.out.find("it says nothing of what else is on this card"), std::string::npos) << yes.out;
  EXPECT_NE(yes.out.find("MISC"), std::string::npos) << yes.out;
}

TEST_F(DiskVerdict, RefusesADestinationOnACardThatIsMountedTwice) {
  const auto card = dir_ / "medium", again = dir_ / "again";
  EVERYTAKE_NEEDS_IMAGE(make_and_mount(image_, kExt4, card));
  shell("mkdir -p " + quoted(card / "DCIM/100") + " " + quoted(card / "backup") + " " + quoted(again));
  test::put_file(card / "DCIM/100/C0001.MP4", std::string(300'000, 'c'));
  EVERYTAKE_NEEDS_IMAGE(shell("mount --bind " + quoted(card / "backup") + " " + quoted(again)).exit == 0);
  const auto refused = everytake("offload --no-study " + quoted(card) + " --to desk=" + quoted(again) +
                                 " --to shuttle=" + quoted(shuttle_.path()));
  EXPECT_EQ(refused.exit, 3) << refused.err;
  EXPECT_EQ(shell("ls -A " + quoted(again)).out, "");
  shell("umount " + quoted(again));
}

// The shoot's own folder on the card makes it no disk of this computer's: by another mount of it too, where no path
// tells.
TEST_F(DiskVerdict, RefusesADestinationOnACardThatHoldsTheShootToo) {
  const auto card = dir_ / "medium", again = dir_ / "again";
  EVERYTAKE_NEEDS_IMAGE(make_and_mount(image_, kExt4, card));
  shell("mkdir -p " + quoted(card / "DCIM/100") + " " + quoted(card / "backup") + " " + quoted(card / "shoot") + " " +
        quoted(again));
  test::put_file(card / "DCIM/100/C0001.MP4", std::string(300'000, 'c'));
  test::put_file(card / "shoot/shoot.toml", plan());
  EVERYTAKE_NEEDS_IMAGE(shell("mount --bind " + quoted(card / "backup") + " " + quoted(again)).exit == 0);
  for (const auto& backup : {card / "backup", again}) {
    const auto refused =
        shell(program() + " --shoot " + quoted(card / "shoot") + " offload --no-study " + quoted(card / "DCIM") +
              " --to desk=" + quoted(backup) + " --to shuttle=" + quoted(shuttle_.path()));
    EXPECT_EQ(refused.exit, 3) << refused.err;
    EXPECT_EQ(shell("ls -A " + quoted(card / "backup")).out, "");
  }
  shell("umount " + quoted(again));
}

TEST_F(DiskVerdict, IsNoForAnotherDiskAtThePathOrNone) {
  EVERYTAKE_NEEDS_IMAGE(make_and_mount(image_, kExt4, desk_));
  ASSERT_EQ(everytake(offload()).exit, 0);
  ASSERT_TRUE(is_safe());
  unmount(desk_);
  EXPECT_EQ(no(), Codes{"destination_absent"});
  const auto ran = everytake(offload());  // the mount point is an ordinary folder now
  EXPECT_EQ(ran.exit, 6) << ran.err;
  EXPECT_EQ(shell("ls -A " + quoted(desk_)).out, "");
}

TEST_F(DiskVerdict, ADestinationRenamedAwayWhileItIsCopiedToIsLost) {
  EVERYTAKE_NEEDS_MOUNT(mount_card());
  test::put_file(shoot_ / "shoot.toml", plan());
  mount_->rules("read C0002.MP4 stall at=500000");
  test::Ran ran;
  std::thread running([&] { ran = everytake(offload()); });
  mount_->await_stall();
  boost::filesystem::rename(desk_, dir_ / "elsewhere");
  mount_->rules("");
  running.join();
  EXPECT_EQ(ran.exit, 6) << ran.out << ran.err;
  EXPECT_FALSE(is_safe());
  boost::filesystem::rename(dir_ / "elsewhere", desk_);
  expect_whole_later();
}

}  // namespace
}  // namespace everytake
