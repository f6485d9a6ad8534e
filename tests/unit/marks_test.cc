// How a destination and a shoot's folder in it are known again.
#include "pipeline/marks.h"

#include <gtest/gtest.h>

#include "os/random.h"
#include "support/fault_fs.h"
#include "support/rooms.h"

namespace everytake {
namespace {

using test::FaultFs;
using test::MemFs;

TEST(Marks, AFolderKeepsTheMarkItGot) {
  MemFs disk;
  EXPECT_EQ(*read_mark(disk), std::nullopt);
  const auto mark = *make_mark(disk, "one");
  EXPECT_TRUE(is_id(mark));
  EXPECT_EQ(*make_mark(disk, "another"), mark);
  EXPECT_EQ(*read_mark(disk), mark);
  disk.crash();
  EXPECT_EQ(*read_mark(disk), mark);  // it was durable
  EXPECT_EQ(disk.files(), (std::set<std::string>{kMarkFile}));
}

TEST(Marks, NoTwoFoldersGetTheSame) {
  MemFs one, other;
  EXPECT_NE(*make_mark(one, "x"), *make_mark(other, "x"));
}

TEST(Marks, WhatIsNoMarkIsRefusedAndLeftAlone) {
  for (const std::string text :
       {"", "everytake destination \n", "everytake destination 12345678901234567890123456789012x\n",
        "everytake destination ZZZZZZZZZZZZZZZZZZZZZZZZZZZZZZZZ\n", "something else", "everytake destination"}) {
    MemFs disk;
    disk.put(kMarkFile, text);
    EXPECT_EQ(read_mark(disk).error().code, Code::invalid) << text;
    EXPECT_EQ(make_mark(disk, "x").error().code, Code::invalid) << text;
    EXPECT_EQ(disk.get(kMarkFile), text);
  }
}

TEST(Marks, ADiskThatDoesNotAnswerHasNoMarkToBelieve) {
  MemFs disk;
  ASSERT_TRUE(make_mark(disk, "x"));
  FaultFs faulty(disk);
  faulty.fail_at(std::string("open ") + kMarkFile + " #1", Code::io);
  EXPECT_EQ(read_mark(faulty).error().code, Code::io);
}

TEST(Marks, AFolderIsClaimedOnce) {
  MemFs disk;
  const Owner one{random_id(), random_id()}, other{random_id(), random_id()};
  EXPECT_EQ(*read_owner(disk, "saltmarsh-radio"), std::nullopt);
  ASSERT_TRUE(claim_home(disk, "saltmarsh-radio", one, "x"));
  EXPECT_EQ(claim_home(disk, "saltmarsh-radio", other, "y").error().code, Code::exists);
  EXPECT_EQ(*read_owner(disk, "saltmarsh-radio"), one);
  const Owner later{one.catalogue, random_id()};
  ASSERT_TRUE(renew_claim(disk, "saltmarsh-radio", later));
  EXPECT_EQ(*read_owner(disk, "saltmarsh-radio"), later);
  EXPECT_EQ(disk.files().size(), 1U);  // nothing unfinished is left
}

TEST(Marks, AClaimThatFailsAnywhereIsAClaimOrNone) {
  MemFs clean;
  FaultFs counted(clean);
  ASSERT_TRUE(claim_home(counted, "saltmarsh-radio", {random_id(), random_id()}, "x"));
  const auto operations = counted.operations();
  ASSERT_GT(operations.size(), 6U);
  for (const auto& operation : operations) {
    SCOPED_TRACE(operation);
    MemFs disk;
    FaultFs faulty(disk);
    faulty.fail_at(operation, Code::io, FaultFs::Then::dead);
    const Owner owner{random_id(), random_id()};
    const auto claimed = claim_home(faulty, "saltmarsh-radio", owner, "x");
    EXPECT_TRUE(faulty.hit());
    disk.crash();
    const auto now = read_owner(disk, "saltmarsh-radio");
    ASSERT_TRUE(now) << now.error().what;  // whole or not there
    if (claimed) {
      EXPECT_EQ(*now, owner);
    }
    if (!*now) {
      EXPECT_TRUE(claim_home(disk, "saltmarsh-radio", owner, "x"));
    }
  }
}

}  // namespace
}  // namespace everytake
