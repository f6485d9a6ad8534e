#include "media/metadata/messages.h"
#include "support/rooms.h"

#include <gtest/gtest.h>

#include <array>

namespace everytake {
namespace {

using Numbers = std::vector<std::uint64_t>;

// The worked examples of the Protocol Buffers documentation, "Encoding".
TEST(Messages, ReadThePublishedExamples) {
  const auto number = find_field("\x08\x96\x01", std::array{1});
  ASSERT_TRUE(number);
  EXPECT_EQ(number->number, 150u);
  const auto text = find_field("\x12\x07testing", std::array{2});
  ASSERT_TRUE(text);
  EXPECT_EQ(text->bytes, "testing");
  const auto inside = find_field("\x1A\x03\x08\x96\x01", std::array{3, 1});
  ASSERT_TRUE(inside);
  EXPECT_EQ(inside->number, 150u);
  const auto packed = find_field("\x32\x06\x03\x8E\x02\x9E\xA7\x05", std::array{6});
  ASSERT_TRUE(packed);
  EXPECT_EQ(packed_numbers(packed->bytes), (Numbers{3, 270, 86942}));
}

TEST(Messages, CountTheLastOfSeveral) {
  const std::string_view twice("\x08\x01\x08\x02", 4);
  EXPECT_EQ(find_field(twice, std::array{1})->number, 2u);
  EXPECT_FALSE(find_field(twice, std::array{2}));
  EXPECT_FALSE(find_field(twice, std::array{1, 1}));  // a number holds nothing
}

TEST(Messages, EndWhereTheBytesMakeNoSense) {
  const std::string_view cut[] = {"\x08", "\x08\x96", "\x12\x07test", "\x0D\x01\x02", "\x0B\x01", "\xFF\xFF\xFF"};
  for (const auto bytes : cut) EXPECT_FALSE(find_field(bytes, std::array{1})) << bytes.size();
  EXPECT_FALSE(find_field("\x08\x01\x12\x07test", std::array{1}));  // whole itself, before one that is cut
  const std::string endless(20, '\xFF');
  EXPECT_FALSE(find_field(endless, std::array{1}));
  EXPECT_EQ(packed_numbers(endless), Numbers{});
  EXPECT_EQ(packed_numbers("\x01\x32\xFF"), Numbers{});
  EXPECT_EQ(packed_numbers(std::string(100, '\x01')).size(), 100u);
  EXPECT_EQ(packed_numbers(std::string(101, '\x01')), Numbers{});
}

}  // namespace
}  // namespace everytake
