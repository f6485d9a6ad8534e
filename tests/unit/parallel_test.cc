#include "base/parallel.h"
#include "support/rooms.h"

#include <gtest/gtest.h>

#include <atomic>
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

}  // namespace
}  // namespace everytake
