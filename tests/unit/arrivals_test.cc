#include "card/arrivals.h"
#include "support/rooms.h"

#include <gtest/gtest.h>

namespace everytake {
namespace {

using namespace std::chrono_literals;

constexpr SteadyTime kStart{1000s};

Listing folder(std::uint64_t size, int mtime = 0) {
  Listing listing;
  listing.files.push_back({"C0001.MP4", size, FileTime(std::chrono::seconds(mtime))});
  return listing;
}

TEST(Quiet, NeedsTwoLooksThatAgree) {
  const auto first = seen_after(std::nullopt, folder(1), kStart);
  EXPECT_FALSE(is_quiet(first, kStart, 5s));
  const auto second = seen_after(first, folder(1), kStart + 5s);
  EXPECT_TRUE(is_quiet(second, kStart + 5s, 5s));
  EXPECT_FALSE(is_quiet(second, kStart + 4s, 5s));
}

TEST(Quiet, BeginsAnewWithEveryChange) {
  const auto first = seen_after(std::nullopt, folder(1), kStart);
  auto more = folder(1);
  more.files.push_back({"C0002.MP4", 1, {}});
  auto deeper = folder(1);
  deeper.folders.push_back("new");
  auto worse = folder(1);
  worse.problems.push_back({ProblemCode::unreadable, "x", "", ""});
  for (const auto& changed : {folder(2), folder(1, 7), more, deeper, worse, Listing{}})
    EXPECT_EQ(seen_after(first, changed, kStart + 9s).since, kStart + 9s);
}

TEST(Arrivals, SaysThatAFolderIsReadyOnceForEachStateOfIt) {
  Arrivals arrivals(5s);
  EXPECT_FALSE(arrivals.ready("A", folder(1), kStart));
  EXPECT_TRUE(arrivals.is_waiting("A"));
  EXPECT_FALSE(arrivals.ready("A", folder(2), kStart + 5s));
  EXPECT_FALSE(arrivals.ready("A", folder(2), kStart + 9s));
  EXPECT_TRUE(arrivals.ready("A", folder(2), kStart + 10s));
  EXPECT_FALSE(arrivals.is_waiting("A"));
  EXPECT_FALSE(arrivals.ready("A", folder(2), kStart + 60s));
  EXPECT_FALSE(arrivals.ready("A", folder(3), kStart + 61s));  // written to again
  EXPECT_TRUE(arrivals.is_waiting("A"));
  EXPECT_TRUE(arrivals.ready("A", folder(3), kStart + 66s));
}

TEST(Arrivals, KeepsFoldersApart) {
  Arrivals arrivals(5s);
  arrivals.ready("A", folder(1), kStart);
  arrivals.ready("B", folder(1), kStart + 4s);
  EXPECT_TRUE(arrivals.ready("A", folder(1), kStart + 5s));
  EXPECT_FALSE(arrivals.ready("B", folder(1), kStart + 5s));
}

TEST(Arrivals, TakesAFolderThatComesBackForANewOne) {
  Arrivals arrivals(5s);
  arrivals.ready("A", folder(1), kStart);
  EXPECT_TRUE(arrivals.ready("A", folder(1), kStart + 5s));
  arrivals.keep_only({"B"});
  EXPECT_FALSE(arrivals.ready("A", folder(1), kStart + 6s));
  EXPECT_TRUE(arrivals.ready("A", folder(1), kStart + 11s));
}

TEST(Arrivals, LooksEverMoreRarelyWhereNothingHappens) {
  Arrivals arrivals(5s);
  EXPECT_EQ(arrivals.next_look("A", kStart), kStart);  // never seen: now
  arrivals.ready("A", folder(1), kStart);
  EXPECT_EQ(arrivals.next_look("A", kStart), kStart + 5s);
  arrivals.ready("A", folder(1), kStart + 5s);
  EXPECT_EQ(arrivals.next_look("A", kStart + 5s), kStart + 10s);
  arrivals.ready("A", folder(1), kStart + 10s);
  EXPECT_EQ(arrivals.next_look("A", kStart + 10s), kStart + 20s);
  arrivals.ready("A", folder(1), kStart + 500s);
  EXPECT_EQ(arrivals.next_look("A", kStart + 500s), kStart + 560s);
}

}  // namespace
}  // namespace everytake
