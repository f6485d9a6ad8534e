#include "problem_code.h"

#include <gtest/gtest.h>

#include <set>
#include <string>

namespace everytake {
namespace {

TEST(ProblemCode, IsKnownAgainByItsText) {
  std::set<std::string> texts;
  for (int i = 0; i <= static_cast<int>(ProblemCode::unknown); ++i) {
    const auto code = static_cast<ProblemCode>(i);
    EXPECT_EQ(parse_problem_code(to_string(code)), code) << to_string(code);
    EXPECT_TRUE(texts.insert(to_string(code)).second) << to_string(code);
  }
}

// What catalogues hold and scripts read.
TEST(ProblemCode, HasTheTextItIsCalledBy) {
  EXPECT_STREQ(to_string(ProblemCode::unreadable), "unreadable");
  EXPECT_STREQ(to_string(ProblemCode::no_room), "no_room");
  EXPECT_STREQ(to_string(ProblemCode::read_from_memory), "read_from_memory");
  EXPECT_STREQ(to_string(ProblemCode::clipped_sound), "clipped_sound");
  EXPECT_EQ(parse_problem_code("no_such_code"), std::nullopt);
}

}  // namespace
}  // namespace everytake
