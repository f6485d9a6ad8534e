#include "os/mounts.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <poll.h>

#include <array>
#include <memory>

#include "card/watch.h"
#include "support/rooms.h"

namespace everytake {
namespace {

using testing::ElementsAre;
using testing::IsEmpty;

std::vector<std::string> points(const std::vector<Mount>& mounts) {
  std::vector<std::string> all;
  for (const auto& mount : mounts) all.push_back(mount.point.native());
  return all;
}

// The example line of proc(5), man-pages 6.03, section "/proc/pid/mountinfo".
TEST(Mounts, ReadsTheExampleOfTheManual) {
  const auto mount = parse_mount("36 35 98:0 /mnt1 /mnt2 rw,noatime master:1 - ext3 /dev/root rw,errors=continue");
  ASSERT_TRUE(mount);
  EXPECT_EQ(*mount, (Mount{36, "98:0", "/mnt1", "/mnt2", "ext3", "/dev/root", {}, {}}));
  EXPECT_THAT(mount->options, ElementsAre("rw", "noatime"));
  EXPECT_THAT(mount->super_options, ElementsAre("rw", "errors=continue"));
}

TEST(Mounts, UndoesTheEscapesOfNames) {
  const auto mount =
      parse_mount(R"(1 2 8:1 /a\040b /media/L-1\134x\011\012é shared:1 master:2 - vfat /dev/sd\040x rw)");
  ASSERT_TRUE(mount);
  EXPECT_EQ(mount->root, "/a b");
  EXPECT_EQ(mount->point.native(), "/media/L-1\\x\t\né");
  EXPECT_EQ(mount->source, "/dev/sd x");
}

TEST(Mounts, LeavesWhatIsNoEscapeAsItIs) {
  EXPECT_EQ(parse_mount(R"(1 2 8:1 / /m\04 - vfat x)")->point.native(), R"(/m\04)");
  EXPECT_EQ(parse_mount(R"(1 2 8:1 / /m\999\400 - vfat x)")->point.native(), R"(/m\999\400)");
  EXPECT_EQ(parse_mount("1 2 8:1 / /m\\ - vfat x")->point.native(), "/m\\");
}

TEST(Mounts, TakesNoFieldForAnother) {
  for (const char* broken :
       {"", " ", "x", "1", "1 2 8:1 /", "1 2 8:1 / /m rw", "1 2 8:1 / /m rw - ", "-1 2 8:1 / /m - vfat x",
        "99999999999999999999999 2 8:1 / /m - vfat x", "1 2 8:1 / /m rw shared:1 vfat x"})
    EXPECT_FALSE(parse_mount(broken)) << broken;
  EXPECT_EQ(parse_mount("1 2 8:1 / /m - vfat")->source, "");
}

// As Linux 6.18 writes an overlay whose folder is "x,y:z w".
TEST(Mounts, SplitsOptionsAtTheCommasBetweenThem) {
  const auto mount = parse_mount(
      R"(65 42 0:39 / /ov rw,relatime shared:3 - overlay ov ro,lowerdir=/a,upperdir=/m/x\134\054y\134:z\040w,uuid=on)");
  ASSERT_TRUE(mount);
  EXPECT_THAT(mount->options, ElementsAre("rw", "relatime"));
  EXPECT_TRUE(has_option(mount->super_options, "ro"));
  EXPECT_FALSE(has_option(mount->super_options, "r"));
  EXPECT_THAT(values_of(mount->super_options, "upperdir"), ElementsAre(R"(/m/x\,y\:z w)"));
  EXPECT_THAT(values_of(mount->super_options, "lowerdir"), ElementsAre("/a"));
  EXPECT_THAT(values_of(mount->super_options, "lower"), IsEmpty());
  EXPECT_THAT(parse_mount("1 2 8:1 / /m  - vfat x ,,rw,")->super_options, ElementsAre("rw"));
  EXPECT_THAT(parse_mount("1 2 8:1 / /m - vfat x")->options, IsEmpty());
}

TEST(Mounts, AreTheSameWithOtherOptions) {
  EXPECT_EQ(parse_mount("1 2 8:1 / /m rw - vfat x rw"), parse_mount("1 2 8:1 / /m ro,noatime - vfat x ro"));
  EXPECT_NE(parse_mount("1 2 8:1 / /m rw - vfat x rw"), parse_mount("3 2 8:1 / /m rw - vfat x rw"));
}

TEST(Mounts, LeavesOutLinesThatAreNone) {
  EXPECT_THAT(points(parse_mounts("1 0 8:1 / / rw - ext4 /dev/a rw\nnonsense\n\n2 1 8:2 / /m rw - vfat /dev/b rw")),
              ElementsAre("/", "/m"));
}

// Whatever comes, it ends and makes no more mounts than there are lines.
TEST(Mounts, TakesAnyBytes) {
  const std::string pieces[] = {"36 35 98:0 ",        "/mnt", "\\040", "\\", " - ", "ext4 ", "\n",
                                std::string(1, '\0'), "\xff", "-",     " ",  "9"};
  std::uint32_t state = 7;
  for (int round = 0; round < 20'000; ++round) {
    std::string text;
    for (int i = 0; i < 16; ++i) {
      state = state * 1664525U + 1013904223U;
      text += pieces[(state >> 16) % std::size(pieces)];
    }
    const auto lines = static_cast<std::size_t>(std::count(text.begin(), text.end(), '\n')) + 1;
    ASSERT_LE(parse_mounts(text).size(), lines);
  }
}

TEST(Mounts, SeesTheSystemAsFindmntDoes) {
  const auto mounts = read_mounts();
  ASSERT_TRUE(mounts);
  const std::unique_ptr<FILE, int (*)(FILE*)> pipe(::popen("findmnt --noheadings --output TARGET /", "r"), ::pclose);
  std::array<char, 256> line{};
  ASSERT_NE(std::fgets(line.data(), line.size(), pipe.get()), nullptr);
  const auto* root = mount_of(*mounts, "/");
  ASSERT_NE(root, nullptr);
  EXPECT_EQ(root->point.native() + "\n", line.data());
}

TEST(Mounts, FindsWhatAPathLiesOn) {
  const auto table = parse_mounts(
      "1 0 8:1 / / rw - ext4 /dev/a rw\n"
      "2 1 8:2 / /media/desk rw - ext4 /dev/b rw\n"
      "3 1 8:3 / /media/desk rw - ext4 /dev/c rw\n"
      "4 1 8:4 / /media/desk/in rw - ext4 /dev/d rw");
  EXPECT_EQ(mount_of(table, "/media/desktop")->id, 1U);
  EXPECT_EQ(mount_of(table, "/media/desk")->id, 3U);  // the later one lies on top
  EXPECT_EQ(mount_of(table, "/media/desk/footage")->id, 3U);
  EXPECT_EQ(mount_of(table, "/media/desk/in/x")->id, 4U);
  EXPECT_EQ(mount_of({}, "/media"), nullptr);
}

const char* const kTable =
    "20 1 0:21 / /proc rw - proc proc rw\n"
    "21 1 8:1 / / rw - ext4 /dev/sda1 rw\n"
    "22 21 8:2 / /boot/efi rw - vfat /dev/sda2 rw\n"
    "23 21 8:3 / /home rw - ext4 /dev/sda3 rw\n"
    "24 21 0:30 / /tmp rw - tmpfs tmpfs rw\n"
    "25 21 8:17 / /media/sam/L1_CARD rw - exfat /dev/sdb1 rw\n"
    "26 21 8:33 / /media/desk rw - ext4 /dev/sdc1 rw\n"
    "27 21 8:17 / /mnt/again rw - exfat /dev/sdb1 rw\n"
    "28 21 0:40 / /mnt/server rw - nfs4 server:/share rw\n"
    "29 21 0:41 / /media/reader rw - fuseblk /dev/sdd1 rw\n"
    "30 21 0:42 / /run/user/1000/gvfs rw - fuse.gvfsd-fuse gvfsd-fuse rw\n"
    "31 21 8:1 /srv/x /mnt/bind rw - ext4 /dev/sda1 rw\n"
    "32 21 7:1 / /snap/core/1 ro - squashfs /dev/loop1 ro\n"
    "33 21 0:44 / /var/lib/layers rw - overlay overlay rw\n"
    "34 21 8:65 / /media/stick rw - vfat /dev/sde1 rw\n"
    "35 34 8:66 / /media/stick rw - ntfs3 /dev/sde2 rw\n"
    "36 21 0:45 / /mnt/old rw - fuse.exfat /dev/sdf1 rw\n";

TEST(CardMounts, AreWhereMediaAreMountedAndNotWhereTheSystemLives) {
  const Path kept[] = {"/media/desk/footage", "/home/sam/saltmarsh"};
  EXPECT_THAT(points(card_mounts(parse_mounts(kTable), kept)),
              ElementsAre("/media/sam/L1_CARD", "/media/reader", "/media/stick", "/mnt/old"));
}

TEST(CardMounts, OfTwoAtOnePointIsTheOneThatCanBeSeen) {
  std::vector<std::string> sources;
  for (const auto& mount : card_mounts(parse_mounts(kTable), {})) sources.push_back(mount.source);
  EXPECT_THAT(sources, testing::Contains("/dev/sde2"));
  EXPECT_THAT(sources, testing::Not(testing::Contains("/dev/sde1")));
}

TEST(CardMounts, AreNoneInAnEmptyTable) {
  EXPECT_THAT(card_mounts({}, {}), IsEmpty());
}

TEST(MountChange, TellsWhatCameAndWentAndWasPutBack) {
  const auto before = parse_mounts("1 0 8:1 / / rw - ext4 a\n2 1 8:2 / /m rw - vfat b\n3 1 8:3 / /n rw - vfat c");
  const auto after = parse_mounts("1 0 8:1 / / rw - ext4 a\n9 1 8:2 / /m rw - vfat b\n4 1 8:4 / /o rw - vfat d");
  const auto change = change_of(before, after);
  EXPECT_THAT(points(change.appeared), ElementsAre("/m", "/o"));
  EXPECT_THAT(points(change.gone), ElementsAre("/m", "/n"));
  EXPECT_THAT(change_of(after, after).appeared, IsEmpty());
}

}  // namespace
}  // namespace everytake
