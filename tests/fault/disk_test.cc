// Which disks lie beneath a folder, and whether they still answer: real layers of images, devices and mounts. Needs
// root and loop devices; without, each says that nothing was tried.
#include <fcntl.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <unistd.h>

#include <boost/filesystem.hpp>
#include <cstdlib>
#include <cstring>

#include "card/scan.h"
#include "os/posix_fs.h"
#include "support/mount/images.h"
#include "support/mount/mounted_shoot.h"
#include "support/rooms.h"

namespace everytake {
namespace {

using test::kExt4;
using test::kXfs;
using test::quoted;
using test::shell;

constexpr const char* kBtrfs = "mkfs.btrfs -q -f";

Disks disks_of(const Path& folder) {
  const auto fs = PosixFs::open_at(folder);
  const auto volume = fs ? (*fs)->volume() : tl::unexpected(fs.error());
  EXPECT_TRUE(volume) << volume.error().what;
  return volume ? volume->disks : Disks{};
}

Disks all_of(const Disks& a, const Disks& b) {
  auto both = a;
  both.names.insert(b.names.begin(), b.names.end());
  both.known = a.known && b.known;
  return both;
}

// The beginning of a file, read block by block, and where it came from.
Result<Evidence> beginning(const ReadFs& fs, const Path& path, Cache cache, std::size_t size) {
  const std::unique_ptr<std::byte, void (*)(std::byte*)> block(
      static_cast<std::byte*>(std::aligned_alloc(kBlockAlign, size)), [](std::byte* p) { std::free(p); });
  std::memset(block.get(), 0, size);
  const auto file = TRY(fs.open(path, cache));
  for (std::size_t at = 0; at < size; at += kBlockAlign) TRY(file->read({block.get() + at, kBlockAlign}, at));
  return file->evidence();
}

Result<Evidence> first_block(const ReadFs& fs, const Path& path, Cache cache) {
  return beginning(fs, path, cache, kBlockAlign);
}

struct Places {
  test::TempDir dir_;
  test::TempDir memory_{"/dev/shm"};
  Path desk_ = dir_ / "desk", image_ = dir_ / "images/desk";
};

class DiskLayers : public testing::Test, protected Places, protected test::Images {
 protected:
  void SetUp() override {
    if (!test::own_mounts()) return;
    ASSERT_TRUE(disk().known) << "set TMPDIR to a folder on a disk";
    ASSERT_NE(disk(), in_memory());
  }
  Disks disk() const { return disks_of(dir_.path()); }  // that of the folder for such files
  static Disks in_memory() { return {{"memory"}, true}; }

  void expect_gone(const ReadFs& fs, const std::string& why) const {
    const auto there = fs.still_there();
    ASSERT_FALSE(there);
    EXPECT_EQ(there.error().code, Code::gone);
    EXPECT_THAT(there.error().what, testing::HasSubstr(why));
  }
  // A file whose bytes are on the disk and in the cache.
  void put_warm(const Path& file) const {
    test::put_file(file, std::string(1'000'000, 'q'));
    EXPECT_EQ(shell("sync -f " + quoted(file) + " && cat " + quoted(file)).exit, 0);
  }
};

TEST_F(DiskLayers, AnImageIsOnTheDiskOfItsFile) {
  EVERYTAKE_NEEDS_IMAGE(make_and_mount(image_, kExt4, desk_));
  EVERYTAKE_NEEDS_IMAGE(make_and_mount(memory_ / "image", kExt4, dir_ / "thin"));
  EVERYTAKE_NEEDS_IMAGE(make_and_mount(desk_ / "inner", kXfs + std::string(" -d size=320m"), dir_ / "inner"));
  EXPECT_EQ(disks_of(desk_), disk());
  EXPECT_EQ(disks_of(dir_ / "thin"), in_memory());
  EXPECT_EQ(disks_of(dir_ / "inner"), disk());
  EXPECT_FALSE(apart(disks_of(desk_), disks_of(dir_ / "inner")));
  EXPECT_TRUE(apart(disks_of(desk_), disks_of(dir_ / "thin")));
}

TEST_F(DiskLayers, APartitionIsOnItsDisk) {
  EVERYTAKE_NEEDS_IMAGE(test::own_mounts());
  const auto device = attach(memory_ / "image");
  EVERYTAKE_NEEDS_IMAGE(!device.empty() && shell("addpart " + device + " 1 2048 300000").exit == 0);
  const auto part = device + "p1";
  EVERYTAKE_NEEDS_IMAGE(shell(kExt4 + std::string(" ") + part).exit == 0 &&
                        mount_by("mount " + part + " " + quoted(desk_), desk_));
  EXPECT_EQ(disks_of(desk_), in_memory());
  EXPECT_TRUE((*PosixFs::open_at(desk_))->still_there());
  unmount(desk_);
}

TEST_F(DiskLayers, AnImageThatCanNotBeSeenAnyMoreIsNotKnown) {
  EVERYTAKE_NEEDS_IMAGE(make_and_mount(image_, kExt4, desk_));
  boost::filesystem::rename(image_, dir_ / "images/elsewhere");
  EXPECT_EQ(disks_of(desk_), disk());  // the kernel tells the new name
  test::put_file(image_, "another file");
  EXPECT_EQ(disks_of(desk_), disk());
  boost::filesystem::remove(dir_ / "images/elsewhere");
  EXPECT_FALSE(disks_of(desk_).known);
  expect_gone(**PosixFs::open_at(desk_), "is deleted");
}

// What is told as the image's path leads to a file by the same name on another disk.
TEST_F(DiskLayers, AnImageWhoseNameHasAnotherFileIsNotKnown) {
  EVERYTAKE_NEEDS_IMAGE(make_and_mount(image_, kExt4, desk_));
  EVERYTAKE_NEEDS_IMAGE(mount_by("mount -t tmpfs tmpfs " + quoted(image_.parent_path()), image_.parent_path()));
  test::put_file(image_, "another file");
  const auto fs = *PosixFs::open_at(desk_);
  EXPECT_FALSE(fs->volume()->disks.known);
  EXPECT_TRUE(fs->still_there());  // nothing speaks against it
}

TEST_F(DiskLayers, BtrfsOverTwoImagesIsOnBothDisks) {
  EVERYTAKE_NEEDS_IMAGE(test::own_mounts());
  const auto one = attach(image_), two = attach(memory_ / "image");
  EVERYTAKE_NEEDS_IMAGE(!one.empty() && !two.empty());
  EVERYTAKE_NEEDS_IMAGE(shell("mkfs.btrfs -q -f -d raid0 -m raid1 " + one + " " + two).exit == 0 &&
                        mount_by("mount -o device=" + one + ",device=" + two + " " + two + " " + quoted(desk_), desk_));
  EXPECT_EQ(disks_of(desk_), all_of(disk(), in_memory()));
  const auto fs = *PosixFs::open_at(desk_);
  EXPECT_TRUE(fs->still_there());
  // A subvolume has another device number and the same disks.
  EXPECT_EQ(shell("btrfs subvolume create " + quoted(desk_ / "sub")).exit, 0);
  EXPECT_EQ(disks_of(desk_ / "sub"), all_of(disk(), in_memory()));
  EXPECT_TRUE(fs->stat("sub"));
  EXPECT_EQ(shell("truncate -s 10M " + quoted(memory_ / "image")).exit, 0);
  expect_gone(*fs, "is cut off");
}

TEST_F(DiskLayers, AnOverlayIsOnTheDisksOfAllItsLayers) {
  EVERYTAKE_NEEDS_IMAGE(test::own_mounts());
  const auto odd = dir_ / "a:b,c\\ d";  // what separates folders and options, in a name
  for (const auto& folder : {memory_ / "upper", memory_ / "work", dir_ / "lower", odd})
    boost::filesystem::create_directories(folder);
  const auto over = [&](const std::string& lower) {
    return mount_by("cd " + quoted(dir_.path()) + " && mount -t overlay over -o " + lower + ",upperdir=" +
                        (memory_ / "upper").string() + ",workdir=" + (memory_ / "work").string() + " " + quoted(desk_),
                    desk_);
  };
  EVERYTAKE_NEEDS_IMAGE(over("lowerdir=" + (dir_ / "lower").string()));
  EXPECT_EQ(disks_of(desk_), all_of(disk(), in_memory()));
  EXPECT_TRUE((*PosixFs::open_at(desk_))->still_there());
  unmount(desk_);
  ASSERT_TRUE(over("'lowerdir=" + dir_.path().string() + R"(/a\:b\,c\\ d)" + "'"));
  EXPECT_EQ(disks_of(desk_), all_of(disk(), in_memory()));
  unmount(desk_);
  ASSERT_TRUE(over("lowerdir=lower"));  // from where it was mounted nobody knows
  EXPECT_FALSE(disks_of(desk_).known);
}

TEST_F(DiskLayers, ABoundFolderIsOnTheDiskItComesFrom) {
  boost::filesystem::create_directories(dir_ / "from");
  EVERYTAKE_NEEDS_IMAGE(mount_by("mount --bind " + quoted(dir_ / "from") + " " + quoted(desk_), desk_));
  EXPECT_EQ(disks_of(desk_), disk());
  EXPECT_FALSE(apart(disks_of(desk_), disks_of(dir_ / "from")));
}

// A driver in user space may keep its files in the other destination.
TEST_F(DiskLayers, ADriverInUserSpaceIsApartFromNothing) {
  const test::FaultMount mirror(dir_ / "shuttle", desk_);
  EVERYTAKE_NEEDS_MOUNT(mirror.is_mounted());
  EXPECT_FALSE(disks_of(desk_).known);
  EXPECT_FALSE(apart(disks_of(desk_), disks_of(dir_ / "shuttle")));
  EXPECT_FALSE(apart(disks_of(desk_), disks_of(memory_.path())));
}

TEST_F(DiskLayers, ADriverInUserSpaceOverADeviceIsOnItsDisk) {
  EVERYTAKE_NEEDS_IMAGE(test::own_mounts());
  const auto device = attach(image_);
  EVERYTAKE_NEEDS_IMAGE(!device.empty() && shell("mkfs.exfat " + device).exit == 0 &&
                        mount_by("mount.exfat-fuse " + device + " " + quoted(desk_), desk_));
  EXPECT_EQ((*PosixFs::open_at(desk_))->volume()->filesystem, "fuseblk");
  EXPECT_EQ(disks_of(desk_), disk());
}

TEST_F(DiskLayers, WhatIsInMemoryIsCalledSo) {
  EVERYTAKE_NEEDS_IMAGE(mount_by("mount -t ramfs ramfs " + quoted(desk_), desk_));
  EXPECT_EQ(disks_of(desk_), in_memory());
  EXPECT_EQ(disks_of(memory_.path()), in_memory());
}

class StillThere : public DiskLayers {};

TEST_F(StillThere, IsAFolderUntilItsPathLeadsElsewhere) {
  const auto fs = [&] {
    boost::filesystem::create_directories(desk_);
    return *PosixFs::open_at(desk_);
  }();
  EXPECT_TRUE(fs->still_there());
  boost::filesystem::rename(desk_, dir_ / "away");
  expect_gone(*fs, "nothing is there");
  boost::filesystem::create_directories(desk_);
  expect_gone(*fs, "another folder");
  boost::filesystem::remove(desk_);
  boost::filesystem::rename(dir_ / "away", desk_);
  EXPECT_TRUE(fs->still_there());
}

TEST_F(StillThere, IsNoFolderThatWasUnmountedLazilyOrMountedOver) {
  EVERYTAKE_NEEDS_IMAGE(make_and_mount(image_, kExt4, desk_));
  test::put_file(desk_ / "a", "1");
  const auto fs = *PosixFs::open_at(desk_);
  EXPECT_TRUE(fs->still_there());
  EVERYTAKE_NEEDS_IMAGE(make_and_mount(dir_ / "images/other", kExt4, desk_));
  expect_gone(*fs, "another folder");
  unmount(desk_);
  EXPECT_TRUE(fs->still_there());
  EXPECT_EQ(shell("umount -l " + quoted(desk_)).exit, 0);
  EXPECT_TRUE(fs->stat("a"));  // an open folder answers on
  expect_gone(*fs, "another folder");
}

TEST_F(StillThere, IsADiskMountedReadOnlyButNotOneThatBecameSo) {
  EVERYTAKE_NEEDS_IMAGE(make_and_mount(image_, kExt4, desk_, ",ro"));
  EXPECT_TRUE((*PosixFs::open_at(desk_))->still_there());
  unmount(desk_);
  EVERYTAKE_NEEDS_IMAGE(mount(image_, desk_, ",errors=remount-ro"));
  const auto fs = *PosixFs::open_at(desk_);
  EXPECT_TRUE(fs->still_there());
  EXPECT_EQ(
      shell("echo test > /sys/fs/ext4/$(basename $(findmnt -no SOURCE " + quoted(desk_) + "))/trigger_fs_error").exit,
      0);
  expect_gone(*fs, "error");
}

TEST_F(StillThere, IsNoFilesystemThatWasShutDown) {
  for (const char* make : {kExt4, kXfs}) {
    SCOPED_TRACE(make);
    EVERYTAKE_NEEDS_IMAGE(make_and_mount(image_, make, desk_));
    put_warm(desk_ / "clip");
    auto fs = *PosixFs::open_at(desk_);
    EXPECT_EQ(*first_block(*fs, "clip", Cache::avoid), Evidence::direct);
    EXPECT_EQ(shell("cat " + quoted(desk_ / "clip")).exit, 0);
    test::shut_down(desk_);
    expect_gone(*fs, "");
    EXPECT_EQ(first_block(*fs, "clip", Cache::avoid).error().code, Code::io);
    fs.reset();
    unmount(desk_);
  }
}

// The kernel tells names, sizes and bytes from memory long after.
TEST_F(StillThere, IsNoDiskWhoseImageIsCutOff) {
  for (const char* make : {kExt4, kXfs, kBtrfs}) {
    SCOPED_TRACE(make);
    EVERYTAKE_NEEDS_IMAGE(make_and_mount(image_, make, desk_));
    put_warm(desk_ / "clip");
    const auto fs = *PosixFs::open_at(desk_);
    EXPECT_TRUE(fs->still_there());
    EXPECT_EQ(shell("truncate -s 0 " + quoted(image_)).exit, 0);
    EXPECT_TRUE(fs->stat("clip"));
    EXPECT_EQ(*first_block(*fs, "clip", Cache::use), Evidence::cached);
    EXPECT_FALSE(first_block(*fs, "clip", Cache::avoid));
    expect_gone(*fs, "is cut off");
    EXPECT_EQ(shell("umount -l " + quoted(desk_)).exit, 0);
    std::erase(mounted_, desk_);
  }
}

TEST_F(StillThere, IsNoFolderWhoseDriverDied) {
  test::FaultMount mount(dir_ / "behind", desk_);
  EVERYTAKE_NEEDS_MOUNT(mount.is_mounted());
  const auto fs = *PosixFs::open_at(desk_);
  EXPECT_TRUE(fs->still_there());
  mount.die();
  expect_gone(*fs, "can't be looked at");
}

class OneBlock : public DiskLayers {
 protected:
  // Reads from its beginning while another program holds the first `held` bytes in memory: no cache drops those.
  Evidence while_held(const Path& file, std::size_t held, std::size_t size = kBlockAlign) const {
    const int fd = ::open((desk_ / file).c_str(), O_RDONLY | O_CLOEXEC);
    void* pages = ::mmap(nullptr, held, PROT_READ, MAP_SHARED | MAP_POPULATE, fd, 0);
    EXPECT_NE(pages, MAP_FAILED);
    const auto evidence = beginning(**PosixFs::open_at(desk_), file, Cache::avoid, size);
    ::munmap(pages, held);
    ::close(fd);
    EXPECT_TRUE(evidence);
    return *evidence;
  }
};

TEST_F(OneBlock, IsDirectOnlyWhenTheDeviceGaveIt) {
  for (const char* make : {kExt4, kXfs, kBtrfs}) {
    SCOPED_TRACE(make);
    EVERYTAKE_NEEDS_IMAGE(make_and_mount(image_, make, desk_));
    put_warm(desk_ / "clip");
    EXPECT_EQ(while_held("clip", 1'000'000), Evidence::direct);
    unmount(desk_);
  }
}

// ext4 takes O_DIRECT for a file whose bytes it journals, btrfs for one that it packs, and both read through the cache.
TEST_F(OneBlock, IsNotDirectWhereDirectReadingIsAWordOnly) {
  const std::pair<const char*, const char*> kinds[] = {{kExt4, ",data=journal"}, {kBtrfs, ",compress-force=zstd"}};
  for (const auto& [make, options] : kinds) {
    SCOPED_TRACE(make);
    EVERYTAKE_NEEDS_IMAGE(make_and_mount(image_, make, desk_, options));
    put_warm(desk_ / "clip");
    EXPECT_EQ(while_held("clip", 1'000'000), Evidence::cached);
    // Of eight blocks the first is from memory, and what is read ahead makes up for it in the kernel's count.
    unmount(desk_);
    EVERYTAKE_NEEDS_IMAGE(mount(image_, desk_, options));
    EXPECT_EQ(while_held("clip", kBlockAlign, 8 * kBlockAlign), Evidence::cached);
    unmount(desk_);
  }
}

class Crossing : public DiskLayers {
 protected:
  void expect_crossing(const Error& error) const {
    EXPECT_EQ(error.code, Code::invalid);
    EXPECT_EQ(error.number, EXDEV);
    EXPECT_THAT(error.what, testing::HasSubstr("another filesystem is mounted there"));
  }
};

TEST_F(Crossing, IsRefusedIntoAFolderBoundIntoADestination) {
  test::put_file(dir_ / "shuttle/R001/C0001.MP4", "bytes");
  boost::filesystem::create_directories(desk_);
  EVERYTAKE_NEEDS_IMAGE(
      mount_by("mount --bind " + quoted(dir_ / "shuttle/R001") + " " + quoted(desk_ / "R001"), desk_ / "R001"));
  const auto fs = *PosixFs::open_at(desk_);
  expect_crossing(fs->stat("R001").error());
  expect_crossing(fs->stat("R001/C0001.MP4").error());
  expect_crossing(fs->open("R001/C0001.MP4", Cache::use).error());
  expect_crossing(fs->list("R001").error());
  expect_crossing(fs->create("R001/C0002.MP4", 0).error());
  expect_crossing(fs->make_folder("R001/in").error());
  expect_crossing(fs->remove("R001/C0001.MP4").error());
  expect_crossing(fs->sync_folder("R001").error());
  EXPECT_EQ(fs->stat("../shuttle").error().what.find("mounted"), std::string::npos);
  EXPECT_TRUE((*PosixFs::open_at(desk_ / "R001"))->stat("C0001.MP4"));  // rooted there it is no crossing
}

TEST_F(Crossing, IsRefusedIntoAFileBoundOverACopy) {
  test::put_file(dir_ / "card.MP4", "bytes");
  test::put_file(desk_ / "R001/C0001.MP4", "");
  EVERYTAKE_NEEDS_IMAGE(test::own_mounts());
  ASSERT_EQ(shell("mount --bind " + quoted(dir_ / "card.MP4") + " " + quoted(desk_ / "R001/C0001.MP4")).exit, 0);
  mounted_.push_back(desk_ / "R001/C0001.MP4");
  const auto fs = *PosixFs::open_at(desk_);
  expect_crossing(fs->stat("R001/C0001.MP4").error());
  expect_crossing(fs->open("R001/C0001.MP4", Cache::avoid).error());
}

TEST_F(Crossing, BelowACardIsAProblemOfThatFolder) {
  test::put_file(dir_ / "card/CLIP/C0001.MP4", "bytes");
  test::put_file(dir_ / "elsewhere/C0009.MP4", "bytes");
  EVERYTAKE_NEEDS_IMAGE(
      mount_by("mount --bind " + quoted(dir_ / "elsewhere") + " " + quoted(dir_ / "card/EXTRA"), dir_ / "card/EXTRA"));
  const auto listing = scan(**PosixFs::open_at(dir_ / "card"), {});
  ASSERT_TRUE(listing);
  ASSERT_EQ(listing->files.size(), 1U);
  EXPECT_EQ(listing->files[0].path, "CLIP/C0001.MP4");
  EXPECT_FALSE(listing->complete);
  ASSERT_EQ(listing->problems.size(), 1U);
  EXPECT_EQ(listing->problems[0].code, ProblemCode::unreadable);
  EXPECT_EQ(listing->problems[0].path, "EXTRA");
  EXPECT_THAT(listing->problems[0].message, testing::HasSubstr("another filesystem is mounted there"));
}

// Neither reading nor listing leaves a trace on a card that can be written to.
TEST_F(DiskLayers, ReadingAndListingChangeNoTimes) {
  EVERYTAKE_NEEDS_IMAGE(make_and_mount(image_, kExt4, desk_, ",strictatime"));
  test::put_file(desk_ / "CLIP/C0001.MP4", "bytes");
  const auto times = [&] {
    std::vector<std::pair<time_t, long>> all;
    for (const auto& path : {desk_, desk_ / "CLIP", desk_ / "CLIP/C0001.MP4"}) {
      struct stat status {};
      EXPECT_EQ(::stat(path.c_str(), &status), 0);
      all.emplace_back(status.st_atim.tv_sec, status.st_atim.tv_nsec);
    }
    return all;
  };
  for (const auto& path : {desk_, desk_ / "CLIP", desk_ / "CLIP/C0001.MP4"}) {
    const timespec old[2] = {{1'000'000'000, 0}, {0, UTIME_OMIT}};
    ASSERT_EQ(::utimensat(AT_FDCWD, path.c_str(), old, 0), 0);
  }
  const auto before = times();
  const auto fs = *PosixFs::open_at(desk_);
  EXPECT_TRUE(scan(*fs, {}));
  EXPECT_TRUE(first_block(*fs, "CLIP/C0001.MP4", Cache::avoid));
  EXPECT_TRUE(fs->volume() && fs->still_there());
  EXPECT_EQ(times(), before);
  EXPECT_EQ(shell("ls -R " + quoted(desk_) + "; cat " + quoted(desk_ / "CLIP/C0001.MP4")).exit, 0);
  EXPECT_NE(times(), before);  // others do leave one
}

}  // namespace
}  // namespace everytake
