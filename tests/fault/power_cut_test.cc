// The power goes while the real program offloads a card, at every call that makes something durable: the program is
// killed there, and one destination forgets what was not synced. What the catalogue calls verified must stand.
// EVERYTAKE_POWER_CUTS says at how many points at most (40 where it is not set); they are spread evenly.
#include <gtest/gtest.h>

#include <cstdlib>
#include <sstream>

#include "support/mount/mounted_shoot.h"
#include "support/rooms.h"
#include "support/sanitized.h"
#include "support/tracer.h"

namespace everytake {
namespace {

using test::CallFault;
using test::quoted;
using test::shell;
using What = CallFault::What;

class PowerCuts : public test::MountedShoot {
 protected:
  std::optional<test::Traced> offload_until(int point) const {
    return test::run_traced({(Path(EVERYTAKE_BINARY_DIR) / "everytake").string(), "--quiet", "--shoot", shoot_.string(),
                             "offload", "--no-study", card_.string()},
                            test::durable_calls(), {What::kill, point, 0});
  }

  void start_anew() const {
    shell("rm -rf " + quoted(desk_) + "/* " + quoted(shuttle_.path()) + "/* " + quoted(shoot_) + "/catalogue*; sync " +
          quoted(desk_));
  }

  // Returns how many copies at "desk" are called verified; each holds what the card holds.
  int expect_verified_copies_stand() const {
    const auto rows = shell("sqlite3 " + quoted(shoot_) +
                            "/catalogue.sqlite \"SELECT cast(stored_path AS TEXT), cast(file.path AS TEXT) FROM copy"
                            " JOIN file ON file.id = file_id JOIN destination ON destination.id = destination_id"
                            " WHERE state = 'verified' AND name = 'desk'\" 2>/dev/null");
    int count = 0;
    std::istringstream lines(rows.out);
    for (std::string line; std::getline(lines, line); ++count) {
      const auto bar = line.find('|');
      EXPECT_EQ(shell("cmp " + quoted(desk_ / line.substr(0, bar)) + " " + quoted(card_ / line.substr(bar + 1))).exit,
                0)
          << line;
    }
    return count;
  }
};

TEST_F(PowerCuts, LeaveEveryVerifiedCopyStandingWhereverTheyCome) {
  EVERYTAKE_NEEDS_MOUNT(mount_desk({"--volatile"}));
  const auto clean = offload_until(0);
  if (!clean) GTEST_SKIP() << "a program can't be traced here (ptrace, seccomp): nothing was tried";
  ASSERT_EQ(clean->exit, 0);
  ASSERT_GT(clean->points, 100);
  const char* said = std::getenv("EVERYTAKE_POWER_CUTS");
  const int most = std::min(clean->points, said ? std::atoi(said) : test::kSanitized ? 6 : 40);
  int stood = 0, met = 0;
  for (int i = 0; i < most; ++i) {
    const int point = 1 + i * clean->points / most;
    SCOPED_TRACE(point);
    start_anew();
    const auto cut = offload_until(point);
    met += cut && cut->met;
    mount_->power_cut(static_cast<unsigned>(i % 3));  // all of what was not synced is lost, or some of it
    stood += expect_verified_copies_stand();
    expect_nothing_wrong_at(desk_);
    expect_whole_later();
    if (HasFailure()) break;
  }
  std::cout << met << " power cuts, of " << clean->points << " points; " << stood << " verified copies stood\n";
  EXPECT_GT(met, most * 3 / 4);
  EXPECT_GT(stood, 0);
}

}  // namespace
}  // namespace everytake
