// Kills the real program before and after every call that makes something durable, or gives or takes a name, while it
// offloads a card; then runs it again: all must be verified, and nothing wrong may stand under a final name.
// EVERYTAKE_KILL_POINTS says how many points at most (40 where it is not set): the sweep spreads them evenly.
#include <fcntl.h>
#include <gtest/gtest.h>
#include <signal.h>
#include <sys/ptrace.h>
#include <sys/syscall.h>
#include <sys/user.h>
#include <sys/wait.h>
#include <unistd.h>

#include <boost/filesystem.hpp>
#include <cstdlib>
#include <optional>
#include <set>

#include "support/shoot_bench.h"

#if defined(__x86_64__)

namespace everytake {
namespace {

using test::quoted;
using test::shell;

// Calls after which the disk holds something else for good.
bool is_durable(unsigned long call) {
  static const std::set<unsigned long> kCalls{SYS_fsync,     SYS_fdatasync, SYS_syncfs,    SYS_rename,    SYS_renameat,
                                              SYS_renameat2, SYS_unlink,    SYS_unlinkat,  SYS_mkdir,     SYS_mkdirat,
                                              SYS_ftruncate, SYS_openat2,   SYS_fallocate, SYS_utimensat, SYS_pwrite64,
                                              SYS_write,     SYS_close,     SYS_linkat,    SYS_openat,    SYS_open};
  return kCalls.count(call) > 0;
}

// Runs `arguments` and kills it where the n-th durable call begins (odd n) or has ended (even n); 0 never kills.
// Returns how many such points it passed, and its exit code, or nothing where it was killed.
struct Traced {
  int points = 0;
  std::optional<int> exit;
};

class Tracer {
 public:
  explicit Tracer(std::vector<std::string> arguments) : arguments_(std::move(arguments)) {}

  Traced run(int kill_at) {
    child_ = ::fork();
    if (child_ == 0) start();
    traced_ = {};
    int status = 0;
    ::waitpid(child_, &status, 0);
    ::ptrace(PTRACE_SETOPTIONS, child_, 0,
             PTRACE_O_TRACESYSGOOD | PTRACE_O_TRACECLONE | PTRACE_O_TRACEFORK | PTRACE_O_EXITKILL);
    ::ptrace(PTRACE_SYSCALL, child_, 0, 0);
    for (;;) {
      const pid_t thread = ::waitpid(-1, &status, __WALL);
      if (thread < 0) return traced_;
      if (WIFEXITED(status) || WIFSIGNALED(status)) {
        if (thread == child_) {
          if (WIFEXITED(status)) traced_.exit = WEXITSTATUS(status);
          reap();
          return traced_;
        }
        continue;
      }
      if (WSTOPSIG(status) == (SIGTRAP | 0x80) && passes_point(thread) && ++traced_.points == kill_at)
        ::kill(child_, SIGKILL);
      const int stopped_by = WSTOPSIG(status);
      const bool ours = stopped_by == (SIGTRAP | 0x80) || stopped_by == SIGTRAP || stopped_by == SIGSTOP;
      ::ptrace(PTRACE_SYSCALL, thread, 0, ours ? 0 : stopped_by);
    }
  }

 private:
  [[noreturn]] void start() {
    ::ptrace(PTRACE_TRACEME, 0, 0, 0);
    const int none = ::open("/dev/null", O_RDWR);
    ::dup2(none, STDOUT_FILENO);
    ::dup2(none, STDERR_FILENO);
    std::vector<char*> words;
    for (auto& each : arguments_) words.push_back(each.data());
    words.push_back(nullptr);
    ::execv(words[0], words.data());
    ::_exit(127);
  }

  // Each durable call is two points: as it begins, and when it has ended.
  bool passes_point(pid_t thread) {
    user_regs_struct registers{};
    if (::ptrace(PTRACE_GETREGS, thread, 0, &registers) != 0) return false;
    return is_durable(registers.orig_rax);
  }

  static void reap() {
    while (::waitpid(-1, nullptr, __WALL) > 0) {
    }
  }

  std::vector<std::string> arguments_;
  pid_t child_ = 0;
  Traced traced_;
};

class KillSweep : public test::ShootBench {
 protected:
  // All of it in memory: a killed process leaves the cache as it was, and waiting for a disk's syncs shows nothing.
  KillSweep() {
    shoot_ = memory_ / "shoot";
    desk_ = memory_ / "desk";
    card_ = memory_ / "card";
    shell("mkdir " + quoted(desk_));
    auto text = plan();
    text.insert(text.find("[[destination]]\nname = \"shuttle\""), "accept_cached = true\nsame_disk = \"allow\"\n");
    test::put_file(shoot_ / "shoot.toml", text);
    put("PRIVATE/M4ROOT/CLIP/C0001.MP4", 1'500'000);
    put("PRIVATE/M4ROOT/CLIP/C0001M01.XML", 900);
    put("PRIVATE/M4ROOT/CLIP/C0002.MP4", 70'000);
  }

  std::vector<std::string> offload() const {
    return {(Path(EVERYTAKE_BINARY_DIR) / "everytake").string(),
            "--quiet",
            "--shoot",
            shoot_.string(),
            "offload",
            "--no-study",
            card_.string()};
  }

  void start_anew() const {
    shell("rm -rf " + quoted(desk_) + "/* " + quoted(shuttle_.path()) + "/* " + quoted(shoot_) + "/catalogue.sqlite*");
  }

  // Under a final name lies what the card holds, or nothing.
  void expect_nothing_wrong() const {
    for (const auto& destination : {desk_, shuttle_.path()}) {
      const auto roll = destination / "saltmarsh-radio/R001";
      if (!boost::filesystem::exists(roll)) continue;
      for (const auto& entry : boost::filesystem::recursive_directory_iterator(roll)) {
        if (!boost::filesystem::is_regular_file(entry.path()) || entry.path().extension() == ".everytake-part")
          continue;
        EXPECT_TRUE(test::get_file(entry.path()) ==
                    test::get_file(card_ / boost::filesystem::relative(entry.path(), roll)))
            << entry.path();
      }
    }
  }
  test::TempDir memory_{"/dev/shm"};
};

TEST_F(KillSweep, LosesNothingWhereverTheProgramIsKilled) {
  if (const auto clean = Tracer(offload()).run(0); clean.exit != 0)
    GTEST_SKIP() << "a program can't be traced here (ptrace): nothing was tried";
  start_anew();
  const int points = Tracer(offload()).run(0).points;
  ASSERT_GT(points, 200);
  const char* said = std::getenv("EVERYTAKE_KILL_POINTS");
  const int most = said ? std::atoi(said) : 40;
  int killed = 0;
  for (int i = 0; i < std::min(most, points); ++i) {
    const int at = 1 + static_cast<int>(static_cast<long>(i) * points / std::min(most, points));
    SCOPED_TRACE("killed at point " + std::to_string(at));
    start_anew();
    const auto traced = Tracer(offload()).run(at);
    killed += traced.exit ? 0 : 1;
    expect_nothing_wrong();
    ASSERT_EQ(shell(program() + " --quiet --shoot " + quoted(shoot_) + " offload --no-study " + quoted(card_)).exit, 0);
    for (const auto& destination : {desk_, shuttle_.path()})
      ASSERT_EQ(shell("diff -r " + quoted(card_) + " " + quoted(destination / "saltmarsh-radio/R001")).exit, 0);
    if (i % 10 == 0) {
      ASSERT_EQ(shell("sqlite3 " + quoted(shoot_ / "catalogue.sqlite") + " 'PRAGMA integrity_check'").out, "ok\n");
    }
  }
  std::cout << killed << " of " << points << " points killed at\n";
  EXPECT_GT(killed, std::min(most, points) * 8 / 10);  // runs differ a little in their number of calls
}

}  // namespace
}  // namespace everytake

#endif
