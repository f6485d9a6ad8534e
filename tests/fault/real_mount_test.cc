// Real filesystems on images in a file, in mounts of the test's own, with the faults that kernels and devices give.
// Needs root and loop devices; without, each says that nothing was tried.
#include <gtest/gtest.h>

#include <boost/filesystem.hpp>
#include <thread>

#include "support/mount/images.h"
#include "support/mount/mounted_shoot.h"
#include "support/rooms.h"

namespace everytake {
namespace {

using test::kExt4;
using test::kXfs;
using test::quoted;
using test::shell;

class RealMounts : public test::MountedShoot, protected test::Images {
 protected:
  // The driver wants a device; it goes with its last user.
  bool mount_exfat(const Path& image, const Path& point) {
    const auto made = shell("device=$(losetup --find --show " + quoted(image) + ") && mount.exfat-fuse $device " +
                            quoted(point) + " && losetup -d $device");
    if (made.exit == 0) mounted_.push_back(point);
    return made.exit == 0;
  }
  bool mount_fat(const Path& image, const Path& point) {
    if (shell("fusefat -o rw+ " + quoted(image) + " " + quoted(point) + " 2>/dev/null").exit != 0) return false;
    mounted_.push_back(point);
    return true;
  }
  // Its yes ends when "desk" goes, and holds again when it is back.
  void expect_known_again(const std::function<bool()>& mount_again) {
    EXPECT_TRUE(is_safe());
    unmount(desk_);
    EXPECT_FALSE(is_safe());
    EXPECT_TRUE(mount_again());
    EXPECT_TRUE(is_safe());
    EXPECT_EQ(everytake("verify").exit, 0);
  }

  // Runs an offload; once "C0002.MP4" is half read, does `something`, and lets it go on.
  test::Ran offload_with(const std::function<void()>& something) {
    mount_->rules("read C0002.MP4 stall at=500000");
    test::Ran ran;
    std::thread running([&] { ran = everytake(offload()); });
    mount_->await_stall();
    something();
    mount_->rules("");
    running.join();
    EXPECT_LT(ran.exit, 128) << ran.err;
    return ran;
  }

  Path image_ = dir_ / "images/desk";
};

TEST_F(RealMounts, AVisitOnEachFilesystemIsWholeAndReadBackFromTheDisk) {
  for (const char* make : {kExt4, kXfs}) {
    SCOPED_TRACE(make);
    EVERYTAKE_NEEDS_IMAGE(make_and_mount(image_, make, desk_));
    const auto report = json(offload());
    EXPECT_EQ(report["destinations"][0]["readback"], "direct");
    EXPECT_TRUE(is_whole(desk_));
    EXPECT_TRUE(is_safe());
    unmount(desk_);
    shell("rm -rf " + quoted(shuttle_.path()) + "/* " + quoted(shoot_) + "/catalogue*");
  }
}

// exFAT by its FUSE driver: other times, no owners, a server between us and the disk.
TEST_F(RealMounts, AVisitOnExFatIsWholeAndKnownAgain) {
  boost::filesystem::create_directories(image_.parent_path());
  EVERYTAKE_NEEDS_IMAGE(shell("truncate -s 100M " + quoted(image_) + " && mkfs.exfat " + quoted(image_)).exit == 0);
  EVERYTAKE_NEEDS_IMAGE(test::own_mounts() && mount_exfat(image_, desk_));
  const auto report = json(offload());
  EXPECT_EQ(report["destinations"][0]["readback"], "dropped");
  EXPECT_TRUE(is_whole(desk_));
  expect_known_again([&] { return mount_exfat(image_, desk_); });
}

// FAT by its FUSE driver. It refuses a colon, does not tell case, and counts time in two seconds.
TEST_F(RealMounts, AVisitOnFatIsWholeUnderNamesThatItTakes) {
  put("PRIVATE/M4ROOT/CLIP/c0002.mp4", 60'000);
  put("PRIVATE/M4ROOT/CLIP/10:30.XML", 20);
  boost::filesystem::create_directories(image_.parent_path());
  EVERYTAKE_NEEDS_IMAGE(shell("truncate -s 100M " + quoted(image_) + " && mkfs.vfat -F 32 " + quoted(image_)).exit ==
                        0);
  EVERYTAKE_NEEDS_IMAGE(test::own_mounts() && mount_fat(image_, desk_));
  EXPECT_EQ(json(offload())["destinations"][0]["files"], 6);
  expect_known_again([&] { return mount_fat(image_, desk_); });
  EXPECT_EQ(shell("cd " + quoted(roll_at(desk_)) + " && xxhsum -c --strict ../R001.xxh128").exit, 0);
}

TEST_F(RealMounts, AFilesystemThatIsShutDownStopsAlone) {
  for (const char* make : {kExt4, kXfs}) {
    SCOPED_TRACE(make);
    EVERYTAKE_NEEDS_MOUNT(mount_card());
    EVERYTAKE_NEEDS_IMAGE(make_and_mount(image_, make, desk_));
    const auto ran = offload_with([&] { test::shut_down(desk_); });
    EXPECT_NE(ran.exit, 0);
    EXPECT_TRUE(is_whole(shuttle_.path()));
    EXPECT_FALSE(is_safe());
    unmount(desk_);
    EVERYTAKE_NEEDS_IMAGE(mount(image_, desk_));
    expect_nothing_wrong_at(desk_);
    expect_whole_later();
    unmount(desk_);
    shell("rm -rf " + quoted(shuttle_.path()) + "/* " + quoted(shoot_) + "/catalogue*");
  }
}

// What ext4 does by itself when it finds an error.
TEST_F(RealMounts, ADestinationThatTurnsReadOnlyStopsAlone) {
  EVERYTAKE_NEEDS_MOUNT(mount_card());
  EVERYTAKE_NEEDS_IMAGE(make_and_mount(image_, kExt4, desk_, ",errors=remount-ro"));
  const auto ran = offload_with([&] {
    EXPECT_EQ(
        shell("echo test > /sys/fs/ext4/$(basename $(findmnt -no SOURCE " + quoted(desk_) + "))/trigger_fs_error").exit,
        0);
  });
  EXPECT_NE(ran.exit, 0);
  EXPECT_TRUE(is_whole(shuttle_.path()));
  EXPECT_FALSE(is_safe());
  unmount(desk_);
  shell("e2fsck -fy " + quoted(image_));
  EVERYTAKE_NEEDS_IMAGE(mount(image_, desk_));
  expect_nothing_wrong_at(desk_);
  expect_whole_later();
}

TEST_F(RealMounts, AnotherDiskAtTheSamePathIsNotTheDestination) {
  EVERYTAKE_NEEDS_IMAGE(make_and_mount(image_, kExt4, desk_));
  EXPECT_EQ(everytake(offload()).exit, 0);
  EXPECT_TRUE(is_safe());
  unmount(desk_);
  EVERYTAKE_NEEDS_IMAGE(make_and_mount(dir_ / "images/other", kExt4, desk_));
  EXPECT_FALSE(is_safe());
  const auto report = json(offload(), 6);
  EXPECT_TRUE(tells(report, "other_disk", "desk"));
  EXPECT_FALSE(boost::filesystem::exists(desk_ / "saltmarsh-radio"));
  unmount(desk_);
  EVERYTAKE_NEEDS_IMAGE(mount(image_, desk_));
  EXPECT_TRUE(is_safe());
}

// The names are still in the kernel's memory, the bytes are gone.
TEST_F(RealMounts, ACardWhoseDeviceIsGoneCanNotBeCalledCopied) {
  const auto card_image = dir_ / "images/card";
  EVERYTAKE_NEEDS_IMAGE(
      make_and_mount(card_image, std::string(kExt4) + " -d " + quoted(card_), dir_ / "mounted", ",ro"));
  seen_card_ = dir_ / "mounted";
  shell("rmdir " + quoted(card_ / "lost+found"));
  shell("find " + quoted(seen_card_) + " -ls; cp --sparse=always " + quoted(card_image) + " " + quoted(dir_ / "kept"));
  shell("truncate -s 0 " + quoted(card_image));
  const auto ran = everytake(offload());
  EXPECT_EQ(ran.exit, 5) << ran.out << ran.err;
  EXPECT_FALSE(is_safe());
  unmount(seen_card_);
  EVERYTAKE_NEEDS_IMAGE(mount(dir_ / "kept", seen_card_, ",ro"));
  expect_whole_later();
}

TEST_F(RealMounts, ACardUnmountedUnderTheWorkIsNotThereForTheVerdict) {
  EVERYTAKE_NEEDS_MOUNT(mount_card());
  seen_card_ = dir_ / "bound";
  shell("mkdir " + quoted(seen_card_));
  EVERYTAKE_NEEDS_IMAGE(shell("mount --bind " + quoted(mount_->path()) + " " + quoted(seen_card_)).exit == 0);
  offload_with([&] { EXPECT_EQ(shell("umount -l " + quoted(seen_card_)).exit, 0); });
  expect_nothing_wrong_at(desk_);
  EXPECT_FALSE(is_safe());
  seen_card_ = mount_->path();
  expect_whole_later();
}

// The disk beneath takes no more, though the filesystem on it has room: every write said yes, the sync says no.
TEST_F(RealMounts, ABytelessDiskBeneathIsFoundBySyncingOrReadingBack) {
  for (int i = 0; i < 14; ++i) put("PRIVATE/M4ROOT/CLIP/S" + std::to_string(i) + ".MP4", 900'000);
  auto text = plan();
  text.insert(text.find("[[destination]]\nname = \"shuttle\""), "same_disk = \"allow\"\n");
  test::put_file(shoot_ / "shoot.toml", text);
  const auto thin = dir_ / "thin";
  shell("mkdir -p " + quoted(thin));
  for (const char* make : {kExt4, kXfs}) {
    SCOPED_TRACE(make);
    const bool ready = test::own_mounts() && shell("mount -t tmpfs -o size=200m tmpfs " + quoted(thin)).exit == 0 &&
                       make_and_mount(thin / "desk", make, desk_);
    EVERYTAKE_NEEDS_IMAGE(ready);
    shell("sync -f " + quoted(desk_) + "; mount -o remount,size=$(($(du -k " + quoted(thin / "desk") +
          " | cut -f1) + 4000))k " + quoted(thin));
    EXPECT_NE(everytake(offload()).exit, 0);
    EXPECT_TRUE(is_whole(shuttle_.path()));
    expect_nothing_wrong_at(desk_);
    EXPECT_FALSE(is_safe());
    shell("mount -o remount,size=200m " + quoted(thin));
    shell("umount -l " + quoted(desk_));
    std::erase(mounted_, desk_);
    shell("e2fsck -fy " + quoted(thin / "desk"));
    EVERYTAKE_NEEDS_IMAGE(mount(thin / "desk", desk_));
    expect_nothing_wrong_at(desk_);
    EXPECT_EQ(everytake(offload()).exit, 0);
    EXPECT_TRUE(is_whole(desk_));
    unmount(desk_);
    shell("umount -l " + quoted(thin) + "; rm -rf " + quoted(shuttle_.path()) + "/* " + quoted(shoot_) + "/catalogue*");
  }
}

}  // namespace
}  // namespace everytake
