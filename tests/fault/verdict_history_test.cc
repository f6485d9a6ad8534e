// Random histories of a whole world: the verdict is never a wrong yes, nothing that was kept is lost, and there is a
// yes when all is well. EVERYTAKE_HISTORIES says how many histories (40 where it is not set; 100000 is the long mode).
#include <gtest/gtest.h>
#include <malloc.h>
#include <rapidcheck.h>

#include <cstdlib>

#include "fault/verdict_world.h"
#include "support/rooms.h"

namespace everytake {
namespace {

using test::Event;
using test::faults_met;
using test::kEvents;
using test::Step;
using test::World;

TEST(Verdict, IsNeverAWrongYesNorANeedlessNoInRandomHistories) {
  const char* said = std::getenv("EVERYTAKE_HISTORIES");
  const std::string parameters = std::string("max_size=14 max_success=") + (said ? said : "40");
  // Each visit takes and gives back some blocks of 4 MiB: kept, they are not cleared page by page by the kernel each
  // time.
  ::mallopt(M_MMAP_THRESHOLD, 1 << 30);
  ::mallopt(M_TRIM_THRESHOLD, 1 << 30);
  ::mallopt(M_ARENA_MAX, 1);
  ::setenv("RC_PARAMS", parameters.c_str(), 0);  // rapidcheck's own way; one that is set already stays
  test::TempDir folder{"/dev/shm"};
  int number = 0;
  const auto step =
      rc::gen::map(rc::gen::pair(rc::gen::inRange(0, kEvents), rc::gen::inRange(0U, 96U)), [](const auto& pair) {
        return Step{static_cast<Event>(pair.first), pair.second};
      });
  const bool held = rc::check("no wrong yes, no needless no", [&] {
    const auto history = *rc::gen::container<std::vector<Step>>(step);
    World world(folder.path(), ++number);
    for (const auto& each : history) {
      world.apply(each);
      world.check();
    }
    world.check_no_needless_no();
  });
  EXPECT_TRUE(held);
  if (number < 1000) return;  // in few histories some faults are named where nothing meets them
  for (const char* fault : {"interrupted", "bad_write", "flaky", "flip"}) EXPECT_GT(faults_met[fault], 0) << fault;
}

}  // namespace
}  // namespace everytake
