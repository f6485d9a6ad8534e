// The real daemon: a card that is mounted, and a folder that appears.
#include <gtest/gtest.h>
#include <poll.h>
#include <sys/inotify.h>
#include <sys/wait.h>
#include <unistd.h>

#include <chrono>
#include <csignal>
#include <functional>

#include "support/rooms.h"
#include "support/shoot_bench.h"

namespace everytake {
namespace {

using test::quoted;
using test::shell;
using namespace std::chrono_literals;

class DaemonProgram : public test::ShootBench {
 protected:
  DaemonProgram() {
    test::own_mounts();  // else the daemon takes a card that another test mounts
    put("PRIVATE/M4ROOT/CLIP/C0001.MP4", 3'000'000);
    put("PRIVATE/M4ROOT/CLIP/C0001M01.XML", 900);
    shell("mkdir " + quoted(watched_) + " " + quoted(mount_point_));
  }
  ~DaemonProgram() override {
    if (pid_ > 0) end(SIGKILL);
    shell("umount " + quoted(mount_point_));
  }

  void start(const std::string& arguments) {
    const auto program = (Path(EVERYTAKE_BINARY_DIR) / "everytaked").string();
    const auto command = "exec " + quoted(program) + " --shoot " + quoted(shoot_) + " " + arguments + " >" +
                         quoted(dir_ / "log") + " 2>&1 </dev/null";
    pid_ = ::fork();
    if (pid_ == 0) {
      ::execl("/bin/sh", "sh", "-c", command.c_str(), nullptr);
      ::_exit(127);
    }
  }

  // Its exit code as a shell would tell it.
  int end(int signal) {
    ::kill(pid_, signal);
    int status = 0;
    ::waitpid(std::exchange(pid_, -1), &status, 0);
    return WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
  }

  std::string log() const { return test::get_file(dir_ / "log"); }

  bool has(const std::string& words, int times) const {
    const auto text = log();
    for (auto at = text.find(words); at != std::string::npos; at = text.find(words, at + 1)) --times;
    return times <= 0;
  }

  // Waits for words in the log; woken by each write to it.
  bool says(const std::string& words, int times = 1) const {
    const int changes = ::inotify_init1(IN_CLOEXEC | IN_NONBLOCK);
    ::inotify_add_watch(changes, (dir_ / "log").c_str(), IN_MODIFY);
    const auto end = std::chrono::steady_clock::now() + 60s;
    bool found = false;
    while (!(found = has(words, times)) && std::chrono::steady_clock::now() < end) {
      pollfd event{changes, POLLIN, 0};
      ::poll(&event, 1, 500);
      char bytes[4096];
      while (::read(changes, bytes, sizeof bytes) > 0) {
      }
    }
    ::close(changes);
    return found;
  }

  Path watched_ = dir_ / "watched", mount_point_ = dir_ / "mnt";
  pid_t pid_ = -1;
};

TEST_F(DaemonProgram, OffloadsAMountedCardByItself) {
  ASSERT_EQ(::geteuid(), 0U) << "mounting needs root: run the tests as root";
  const auto image = dir_ / "card.img";
  ASSERT_EQ(shell("truncate -s 32M " + quoted(image) + " && mkfs.ext4 -q -F " + quoted(image) + " && mount -o loop " +
                  quoted(image) + " " + quoted(mount_point_) + " && cp -r " + quoted(card_ / "PRIVATE") + " " +
                  quoted(mount_point_) + " && umount " + quoted(mount_point_))
                .exit,
            0);
  test::put_file(dir_ / "log", "");
  start("");
  ASSERT_TRUE(says("waiting for cards")) << log();
  ASSERT_EQ(shell("mount -o loop,ro " + quoted(image) + " " + quoted(mount_point_)).exit, 0);
  EXPECT_TRUE(says("safe to wipe")) << log();
  ASSERT_EQ(shell("umount " + quoted(mount_point_)).exit, 0);
  EXPECT_TRUE(says("taken out")) << log();
  EXPECT_EQ(end(SIGTERM), 143);
  EXPECT_EQ(shell("diff -r " + quoted(card_ / "PRIVATE") + " " + quoted(desk_ / "saltmarsh-radio/R001/PRIVATE")).exit,
            0);
}

TEST_F(DaemonProgram, OffloadsAFolderThatAppearsOnceItIsQuiet) {
  test::put_file(dir_ / "log", "");
  start("--watch " + quoted(watched_));
  ASSERT_TRUE(says("waiting for cards")) << log();
  ASSERT_EQ(shell("cp -r " + quoted(card_) + " " + quoted(watched_ / "A")).exit, 0);
  EXPECT_TRUE(says("safe to wipe")) << log();
  EXPECT_EQ(end(SIGINT), 130);
  EXPECT_EQ(everytake("safe " + quoted(watched_ / "A")).exit, 0);
}

TEST_F(DaemonProgram, TakesTwoCardsAtOnce) {
  test::put_file(dir_ / "log", "");
  shell("cp -r " + quoted(card_) + " " + quoted(dir_ / "A"));
  put("PRIVATE/M4ROOT/CLIP/C0002.MP4", 2'000'000);
  shell("cp -r " + quoted(card_) + " " + quoted(dir_ / "B"));
  start("--watch " + quoted(watched_));
  ASSERT_TRUE(says("waiting for cards")) << log();
  shell("mv " + quoted(dir_ / "A") + " " + quoted(dir_ / "B") + " " + quoted(watched_));
  EXPECT_TRUE(says("safe to wipe", 2)) << log();
  EXPECT_EQ(end(SIGTERM), 143);
  for (const char* card : {"A", "B"}) EXPECT_EQ(everytake("safe " + quoted(watched_ / card)).exit, 0) << card;
  EXPECT_EQ(json("rolls")["rolls"].size(), 2U);
}

// Filesystems copied bit by bit have one serial number.
TEST_F(DaemonProgram, TakesASecondCardOfTheSameSerialWhenTheFirstIsDone) {
  ASSERT_EQ(::geteuid(), 0U) << "mounting needs root: run the tests as root";
  put("PRIVATE/M4ROOT/CLIP/C0002.MP4", 60'000'000);
  const Path second = mount_point_.string() + "-2";
  shell("mkdir " + quoted(second));
  for (const auto& point : {mount_point_, second}) {
    const auto image = point.string() + ".img";
    ASSERT_EQ(
        shell("truncate -s 96M " + quoted(image) + " && mkfs.ext4 -q -F -U 0b1e5c1e-0000-4000-8000-000000000001 " +
              quoted(image) + " && mount -o loop " + quoted(image) + " " + quoted(point) + " && cp -r " +
              quoted(card_ / "PRIVATE") + " " + quoted(point))
            .exit,
        0);
    put("PRIVATE/M4ROOT/CLIP/C0003.MP4", 1000);  // on the second one only
  }
  test::put_file(dir_ / "log", "");
  start("");
  EXPECT_TRUE(says("it is tried again when another card is done")) << log();
  EXPECT_TRUE(says("safe to wipe", 2)) << log();
  EXPECT_EQ(end(SIGTERM), 143);
  EXPECT_EQ(shell("umount " + quoted(second)).exit, 0);
}

TEST_F(DaemonProgram, EndsWhenItsTerminalIsClosed) {
  test::put_file(dir_ / "log", "");
  start("");
  ASSERT_TRUE(says("waiting for cards")) << log();
  EXPECT_EQ(end(SIGHUP), 143);
}

// More cards than are taken at once, and three disks.
TEST_F(DaemonProgram, TakesCardsInTurnAndToThreeDisks) {
  test::put_file(dir_ / "log", "");
  const test::TempDir third("/dev/shm");
  test::put_file(shoot_ / "shoot.toml", plan() + "[[destination]]\nname = \"archive\"\npath = \"" +
                                            third.path().string() +
                                            "\"\naccept_cached = true\nsame_disk = \"allow\"\n");
  constexpr int kCards = 7;
  for (int i = 0; i < kCards; ++i) {
    shell("rm -rf " + quoted(card_) + "/*");  // what is kept already would not be copied again
    put("PRIVATE/M4ROOT/CLIP/C000" + std::to_string(i) + ".MP4", 300'000);
    shell("cp -r " + quoted(card_) + " " + quoted(dir_ / ("card-" + std::to_string(i))));
  }
  start("--watch " + quoted(watched_));
  ASSERT_TRUE(says("waiting for cards")) << log();
  shell("mv " + quoted(dir_.path()) + "/card-* " + quoted(watched_));
  EXPECT_TRUE(says("safe to wipe", kCards)) << log();
  EXPECT_EQ(end(SIGTERM), 143);
  const auto rolls = json("rolls")["rolls"];
  ASSERT_EQ(rolls.size(), std::size_t{kCards});
  for (const auto& roll : rolls) {
    ASSERT_EQ(roll["destinations"].size(), 3U);
    const auto list = "../" + roll["name"].get<std::string>() + ".xxh128";
    for (const auto& at : {desk_, shuttle_.path(), third.path()})
      EXPECT_EQ(shell("cd " + quoted(at / "saltmarsh-radio" / roll["name"].get<std::string>()) +
                      " && xxhsum -c --strict " + list)
                    .exit,
                0);
  }
}

// The card is long gone when the second disk comes back.
TEST_F(DaemonProgram, LetsADestinationCatchUpThatWasAway) {
  if (!test::own_mounts()) GTEST_SKIP() << "mounting needs root";
  test::put_file(dir_ / "log", "");
  shell("mv " + quoted(shuttle_.path()) + " " + quoted(shuttle_.path().string() + ".away"));
  start("--watch " + quoted(watched_));
  ASSERT_TRUE(says("waiting for cards")) << log();
  shell("mv " + quoted(card_) + " " + quoted(watched_ / "A"));
  ASSERT_TRUE(says("do not wipe")) << log();
  shell("mv " + quoted(watched_ / "A") + " " + quoted(card_));
  shell("mkdir " + quoted(shuttle_.path()));
  EXPECT_EQ(shell("mount -t tmpfs tmpfs " + quoted(shuttle_.path())).exit, 0);
  EXPECT_TRUE(says("\"shuttle\" caught up: 2 files")) << log();
  EXPECT_EQ(end(SIGTERM), 143);
  EXPECT_EQ(shell("diff -r " + quoted(card_) + " " + quoted(shuttle_.path() / "saltmarsh-radio/R001")).exit, 0);
  shell("mv " + quoted(card_) + " " + quoted(watched_ / "A"));
  const auto verdict = everytake("safe " + quoted(watched_ / "A"));
  EXPECT_EQ(verdict.exit, 0) << verdict.out;
  shell("umount " + quoted(shuttle_.path()) + "; rm -r " + quoted(shuttle_.path().string() + ".away"));
}

TEST_F(DaemonProgram, OffloadsOnceWhatIsThereAndSaysHowItWent) {
  shell("cp -r " + quoted(card_) + " " + quoted(watched_ / "A"));
  const auto program = quoted(Path(EVERYTAKE_BINARY_DIR) / "everytaked") + " --shoot " + quoted(shoot_);
  EXPECT_EQ(shell(program + " --once --watch " + quoted(watched_)).exit, 0);
  EXPECT_EQ(everytake("safe " + quoted(watched_ / "A")).exit, 0);
  shell("rm -r " + quoted(desk_));
  put("PRIVATE/M4ROOT/CLIP/C0002.MP4", 10);
  shell("cp -r " + quoted(card_) + " " + quoted(watched_ / "B"));
  EXPECT_EQ(shell(program + " --once --watch " + quoted(watched_)).exit, 6);  // a destination is lost
}

TEST_F(DaemonProgram, LeavesAShootToTheDaemonThatHasIt) {
  test::put_file(dir_ / "log", "");
  start("");
  ASSERT_TRUE(says("waiting for cards")) << log();
  const auto second =
      shell(quoted(Path(EVERYTAKE_BINARY_DIR) / "everytaked") + " --shoot " + quoted(shoot_) + " --once");
  EXPECT_NE(second.exit, 0);
  EXPECT_FALSE(second.err.empty());
  EXPECT_EQ(end(SIGTERM), 143);
}

}  // namespace
}  // namespace everytake
