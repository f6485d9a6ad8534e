#include "base/parallel.h"
#include "support/rooms.h"

#include <gtest/gtest.h>

#include <atomic>
#include <latch>
#include <thread>
#include <vector>

namespace everytake {
namespace {

TEST(ForEachIndex, TakesEachOnceHoweverManyThereAre) {
  for (const std::size_t count : {0U, 1U, 63U, 64U, 200U, 10'000U}) {
    std::vector<std::atomic<int>> taken(count);
    ASSERT_TRUE(for_each_index(count, [&](std::size_t i) -> Result<void> {
      ++taken[i];
      return {};
    }));
    for (const auto& each : taken) EXPECT_EQ(each, 1);
  }
}

TEST(ForEachIndex, EndsWithTheFirstError) {
  std::atomic<int> calls{0};
  const auto done = for_each_index(100'000, [&](std::size_t i) -> Result<void> {
    ++calls;
    return i == 5 ? fail(Code::io, "the fifth") : Result<void>();
  });
  ASSERT_FALSE(done);
  EXPECT_EQ(done.error().what, "the fifth");
  EXPECT_LT(calls, 100'000);
}

TEST(ForEachOnThreads, TakesEachOnceAndNoneOnTheCallersThread) {
  const auto caller = std::this_thread::get_id();
  for (const std::size_t threads : {1U, 3U, 100U}) {
    std::vector<std::atomic<int>> taken(50);
    std::atomic<bool> on_caller{false};
    for_each_on_threads(threads, taken.size(), [&](std::size_t i) {
      ++taken[i];
      if (std::this_thread::get_id() == caller) on_caller = true;
    });
    for (const auto& each : taken) EXPECT_EQ(each, 1);
    EXPECT_FALSE(on_caller);
  }
}

TEST(ForEachOnThreads, GivesEachAThreadWhereThereAreAsMany) {
  constexpr std::size_t kCount = 4;
  std::latch all_began(kCount);
  for_each_on_threads(kCount, kCount, [&](std::size_t) { all_began.arrive_and_wait(); });  // hangs with fewer
  EXPECT_TRUE(all_began.try_wait());
}

}  // namespace
}  // namespace everytake
