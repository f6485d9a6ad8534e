// Kills the real program before and after every call that makes something durable, or gives or takes a name, while it
// offloads a card; then runs it again: all must be verified, and nothing wrong may stand under a final name. And lets
// every call that touches a file fail once, or move half of its bytes.
// EVERYTAKE_KILL_POINTS says how many points at most (where it is not set 500, under a sanitizer 40): the sweep spreads
// them evenly.
#include <gtest/gtest.h>

#include <boost/filesystem.hpp>
#include <cerrno>
#include <cstdlib>

#include "support/rooms.h"
#include "support/sanitized.h"
#include "support/shoot_bench.h"
#include "support/tracer.h"

namespace everytake {
namespace {

namespace fs = boost::filesystem;
using test::CallFault;
using test::quoted;
using test::shell;
using What = CallFault::What;

constexpr int kParts = 4;  // of a sweep: they run side by side

int most_points() {
  const char* said = std::getenv("EVERYTAKE_KILL_POINTS");
  return said ? std::atoi(said) : test::kSanitized ? 40 : 500;
}

class Sweep : public test::ShootBench {
 protected:
  // All of it in memory: a killed process leaves the cache as it was, and waiting for a disk's syncs shows nothing.
  Sweep() {
    shoot_ = memory_ / "shoot";
    desk_ = memory_ / "desk";
    card_ = memory_ / "card";
    fs::create_directories(desk_);
    auto text = plan();
    text.insert(text.find("[[destination]]\nname = \"shuttle\""), "accept_cached = true\nsame_disk = \"allow\"\n");
    test::put_file(shoot_ / "shoot.toml", text);
    put("PRIVATE/M4ROOT/CLIP/C0001.MP4", 1'100'000);  // over and under what is synced in groups
    put("PRIVATE/M4ROOT/CLIP/C0001M01.XML", 900);
    put("PRIVATE/M4ROOT/CLIP/C0002.MP4", 70'000);
  }

  std::optional<test::Traced> offload(const std::set<int>& calls, const CallFault& fault) const {
    return test::run_traced({(Path(EVERYTAKE_BINARY_DIR) / "everytake").string(), "--quiet", "--shoot", shoot_.string(),
                             "offload", "--no-study", card_.string()},
                            calls, fault);
  }

  void start_anew() const {
    for (const auto& folder : {desk_, shuttle_.path()})
      for (const auto& entry : std::vector<fs::directory_entry>(fs::directory_iterator(folder), {}))
        fs::remove_all(entry.path());
    for (const char* file : {"catalogue.sqlite", "catalogue.sqlite-journal"}) fs::remove(shoot_ / file);
  }

  // Every file of the card stands in a roll there with its bytes.
  bool is_whole(const Path& destination) const {
    for (const auto& entry : fs::recursive_directory_iterator(card_)) {
      const auto copy = destination / "saltmarsh-radio/R001" / fs::relative(entry.path(), card_);
      if (!fs::is_regular_file(entry.path())) continue;
      if (!fs::exists(copy) || test::get_file(copy) != test::get_file(entry.path())) return false;
    }
    return true;
  }

  // Under a final name lies what the card holds, or nothing.
  void expect_nothing_wrong(bool part_names = true) const {
    for (const auto& destination : {desk_, shuttle_.path()}) {
      const auto roll = destination / "saltmarsh-radio/R001";
      if (!fs::exists(roll)) continue;
      for (const auto& entry : fs::recursive_directory_iterator(roll)) {
        if (!fs::is_regular_file(entry.path())) continue;
        if (part_names && entry.path().extension() == ".everytake-part") continue;
        EXPECT_EQ(test::get_file(entry.path()), test::get_file(card_ / fs::relative(entry.path(), roll)))
            << entry.path();
      }
    }
  }

  void expect_whole_after_another_run() const {
    const auto again = offload({}, {});
    ASSERT_TRUE(again && again->exit == 0) << (again ? again->exit.value_or(-1) : -1);
    expect_nothing_wrong(false);
    ASSERT_TRUE(is_whole(desk_));
    ASSERT_TRUE(is_whole(shuttle_.path()));
  }

  void expect_sound_catalogue() const {
    EXPECT_EQ(shell("sqlite3 " + quoted(shoot_ / "catalogue.sqlite") + " 'PRAGMA integrity_check'").out, "ok\n");
  }

  // How many points a whole run passes; 0 where nothing can be traced.
  int points(const std::set<int>& calls, What what) const {
    const auto clean = offload(calls, {what, 0, 0});
    start_anew();
    if (!clean) return 0;
    EXPECT_EQ(clean->exit, 0);
    return clean->points;
  }

  test::TempDir memory_{"/dev/shm"};
};

#define EVERYTAKE_NEEDS_TRACING(points) \
  if ((points) == 0) GTEST_SKIP() << "a program can't be traced here (ptrace, seccomp): nothing was tried"

class KillSweep : public Sweep, public testing::WithParamInterface<int> {};

TEST_P(KillSweep, LosesNothingWhereverTheProgramIsKilled) {
  const int all = points(test::durable_calls(), What::kill);
  EVERYTAKE_NEEDS_TRACING(all);
  ASSERT_GT(all, 200);
  const int most = std::min(most_points(), all);
  int tried = 0, killed = 0;
  for (int i = GetParam(); i < most; i += kParts, ++tried) {
    const int at = 1 + static_cast<int>(static_cast<long>(i) * all / most);
    SCOPED_TRACE("killed at point " + std::to_string(at));
    start_anew();
    const auto traced = offload(test::durable_calls(), {What::kill, at, 0});
    killed += traced->exit ? 0 : 1;
    expect_nothing_wrong();
    expect_whole_after_another_run();
    if (i % 10 == 0) expect_sound_catalogue();
    if (HasFatalFailure()) return;
  }
  std::cout << killed << " kills, of " << all << " points\n";
  EXPECT_GT(killed, tried * 8 / 10);  // runs differ a little in their number of calls
}

TEST_P(KillSweep, LosesNothingWhenKilledAgainWhileGoingOn) {
  const int all = points(test::durable_calls(), What::kill);
  EVERYTAKE_NEEDS_TRACING(all);
  const int pairs = std::max(8, most_points() / 10);
  int killed = 0;
  for (int i = GetParam(); i < pairs; i += kParts) {
    const int first = 1 + static_cast<int>(static_cast<long>(i) * all / pairs);
    const int second = 1 + (i * 7919) % all;  // a prime: any point goes with any
    SCOPED_TRACE("killed at points " + std::to_string(first) + " and " + std::to_string(second));
    start_anew();
    (void)offload(test::durable_calls(), {What::kill, first, 0});
    const auto again = offload(test::durable_calls(), {What::kill, second, 0});
    killed += again->exit ? 0 : 1;
    expect_nothing_wrong();
    expect_whole_after_another_run();
    if (HasFatalFailure()) return;
  }
  std::cout << killed << " second kills\n";
}

INSTANTIATE_TEST_SUITE_P(Part, KillSweep, testing::Range(0, kParts));

class CallSweep : public Sweep, public testing::WithParamInterface<int> {
 protected:
  // The answer is honest: a yes only where all is there.
  void expect_honest(const test::Traced& traced) const {
    ASSERT_TRUE(traced.exit);
    EXPECT_LT(*traced.exit, 128);
    expect_nothing_wrong();
    if (*traced.exit != 0) return;
    EXPECT_TRUE(is_whole(desk_));
    EXPECT_TRUE(is_whole(shuttle_.path()));
  }
};

TEST_P(CallSweep, AnyCallThatFailsOnceIsToldOrMadeGood) {
  const int all = points(test::file_calls(), What::fail);
  EVERYTAKE_NEEDS_TRACING(all);
  constexpr int kErrors[] = {EIO, EINTR, EAGAIN, ENOMEM, EMFILE, ENOSPC};
  const int most = std::max(30, most_points() / 5);
  int tried = 0, met = 0;
  for (int i = GetParam(); i < most; i += kParts, ++tried) {
    const int at = 1 + static_cast<int>(static_cast<long>(i) * all / most);
    SCOPED_TRACE("call " + std::to_string(at) + " fails with error " + std::to_string(kErrors[i / kParts % 6]));
    start_anew();
    const auto traced = offload(test::file_calls(), {What::fail, at, kErrors[i / kParts % 6]});
    met += traced->met ? 1 : 0;
    expect_honest(*traced);
    expect_whole_after_another_run();
    if (HasFatalFailure()) return;
  }
  std::cout << met << " calls failed, of " << all << "\n";
  EXPECT_GE(met, tried * 8 / 10);
}

TEST_P(CallSweep, ACallThatMovesHalfItsBytesIsGoneOnWith) {
  const auto calls = test::moving_calls();
  const int all = points(calls, What::shorten);
  EVERYTAKE_NEEDS_TRACING(all);
  const int most = std::max(20, most_points() / 5);
  int tried = 0, met = 0;
  for (int i = GetParam(); i < most; i += kParts, ++tried) {
    const int at = 1 + static_cast<int>(static_cast<long>(i) * all / most);
    SCOPED_TRACE("call " + std::to_string(at) + " moves half");
    start_anew();
    const auto traced = offload(calls, {What::shorten, at, 0});
    met += traced->met ? 1 : 0;
    expect_honest(*traced);
    expect_whole_after_another_run();
    if (HasFatalFailure()) return;
  }
  std::cout << met << " calls cut short, of " << all << "\n";
  EXPECT_GE(met, tried * 8 / 10);
}

INSTANTIATE_TEST_SUITE_P(Part, CallSweep, testing::Range(0, kParts));

}  // namespace
}  // namespace everytake
