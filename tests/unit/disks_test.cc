#include "os/disks.h"

#include <gtest/gtest.h>

#include "support/fault_fs.h"
#include "support/mem_fs.h"
#include "support/rooms.h"

namespace everytake {
namespace {

TEST(Disks, AreApartOnlyWhenAllAreKnownAndNoneIsShared) {
  const Disks a{{"sda"}, true}, b{{"sdb"}, true}, both{{"sda", "sdb"}, true};
  EXPECT_TRUE(apart(a, b));
  EXPECT_FALSE(apart(a, a));
  EXPECT_FALSE(apart(a, both));
  EXPECT_FALSE(apart(both, b));
  EXPECT_TRUE(apart(both, {{"memory"}, true}));
  EXPECT_FALSE(apart(a, {{"sdb"}, false}));
  EXPECT_FALSE(apart({{"server 192.0.2.7"}, false}, b));
}

// No names is no knowledge, whatever is claimed of it.
TEST(Disks, AreNotApartWhereNoneIsNamed) {
  EXPECT_FALSE(apart({{}, true}, {{"sda"}, true}));
  EXPECT_FALSE(apart({{"sda"}, true}, {{}, true}));
  EXPECT_FALSE(apart({}, {}));
}

TEST(Disks, AreNamedOneAfterTheOther) {
  EXPECT_EQ(disks_text({{"sda"}, true}), "sda");
  EXPECT_EQ(disks_text({{"sdb", "sda"}, true}), "sda and sdb");
  EXPECT_EQ(disks_text({}), "disks that can't be told");
}

TEST(MemFs, ThatIsDeadTellsNamesAndSizesButNoBytes) {
  test::MemFs fs;
  fs.put("a", "bytes");
  EXPECT_TRUE(fs.still_there());
  fs.set_dead(true);
  EXPECT_EQ(fs.still_there().error().code, Code::gone);
  EXPECT_EQ(fs.stat("a")->size, 5U);
  const auto file = *fs.open("a", Cache::avoid);
  std::byte block[8]{};
  EXPECT_EQ(file->read(block, 0).error().code, Code::gone);
  fs.set_dead(false);
  EXPECT_EQ(*file->read(block, 0), 5U);
  EXPECT_TRUE(fs.still_there());
}

TEST(MemFs, HasADiskOfItsOwn) {
  const test::MemFs one, other;
  EXPECT_TRUE(apart(one.volume()->disks, other.volume()->disks));
}

TEST(FaultFs, FailsTheQuestionWhetherItIsStillThere) {
  test::MemFs inner;
  test::FaultFs fs(inner);
  fs.fail_at("still_there  #2", Code::gone);
  EXPECT_TRUE(fs.still_there());
  EXPECT_FALSE(fs.still_there());
  EXPECT_TRUE(fs.hit());
}

}  // namespace
}  // namespace everytake
