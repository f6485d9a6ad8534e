// Random histories of a whole world: the verdict is never a wrong yes, nothing that was kept is lost, and there is a
// yes when all is well. EVERYTAKE_HISTORIES says how many histories (400 where it is not set; 100000 is the long mode).
#include <gtest/gtest.h>
#include <malloc.h>
#include <rapidcheck.h>

#include <cstdlib>

#include "fault/verdict_world.h"
#include "support/rooms.h"

namespace everytake {
namespace {

using test::Disks;
using test::Event;
using test::kEvents;
using test::kNames;
using test::Step;
using test::tally;
using test::World;

constexpr int kLongest = 14;

TEST(Verdict, IsNeverAWrongYesNorANeedlessNoInRandomHistories) {
  const char* said = std::getenv("EVERYTAKE_HISTORIES");
  const std::string parameters = std::string("max_success=") + (said ? said : "400");
  // Each visit takes and gives back some blocks of 4 MiB: kept, they are not cleared page by page by the kernel each
  // time.
  ::mallopt(M_MMAP_THRESHOLD, 1 << 30);
  ::mallopt(M_TRIM_THRESHOLD, 1 << 30);
  ::mallopt(M_ARENA_MAX, 1);
  ::setenv("RC_PARAMS", parameters.c_str(), 0);  // rapidcheck's own way; one that is set already stays
  test::TempDir folder{"/dev/shm"};
  int number = 0;
  // All events and all lengths, whatever the size that a history is drawn for: by itself rapidcheck gives the first
  // histories only the first few events.
  const auto among = [](auto most) {
    return rc::gen::resize(rc::kNominalSize, rc::gen::inRange<decltype(most)>(0, most));
  };
  const auto step = rc::gen::map(rc::gen::pair(among(kEvents), among(1024U)), [](const auto& pair) {
    return Step{static_cast<Event>(pair.first), pair.second};
  });
  const auto histories = rc::gen::resize(kLongest, rc::gen::container<std::vector<Step>>(step));
  const bool held = rc::check("no wrong yes, no needless no", [&] {
    const auto disks = *rc::gen::element(Disks::plain, Disks::coarse);
    const auto history = *histories;
    World world(folder.path(), disks);
    ++number;
    for (const auto& each : history) {
      world.apply(each);
      world.check();
    }
    world.check_no_needless_no();
  });
  EXPECT_TRUE(held);
  EXPECT_GE(tally.yeses, number);
  if (number < 400) return;  // in fewer an event may not come
  for (const auto* each : kNames) EXPECT_GT(tally.events[each], 0) << each;
  if (number < 4000) return;  // in fewer a fault may be named where nothing meets it
  for (const char* fault : {"interrupted", "hiccup", "repair_cut", "bad_write", "flaky", "flip"})
    EXPECT_GT(tally.met[fault], 0) << fault;
}

}  // namespace
}  // namespace everytake
