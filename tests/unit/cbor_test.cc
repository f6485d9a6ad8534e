#include <gtest/gtest.h>

#include "base/json.h"

namespace everytake {
namespace {

constexpr std::size_t kMany = 1 << 20;

// The numbers are those of RFC 8949, appendix B.
TEST(Cbor, IsReadOnlyAsItIsWrittenHere) {
  EXPECT_EQ(from_cbor("\x83\x01\x20\x61\x61"), Json::array({1, -1, "a"}));
  for (const char start : {'\x81', '\x9f', '\xbf', '\x5f', '\x7f', '\xc6'})  // nested; of no length; with a tag
    EXPECT_TRUE(from_cbor(std::string(kMany, start)).is_discarded()) << std::hex << +start;
  for (const std::string_view bytes :
       {"\xc1\x01", "\x7f\x61\x61\xff", "\x9f\x01\xff", "\x1c", "\x9b\xff\xff\xff\xff\xff\xff\xff\xff\x01",
        "\xbb\xff\xff\xff\xff\xff\xff\xff\xff\x01", "\x7b\xff\xff\xff\xff\xff\xff\xff\xff\x01", "\xa1\x01\x01", "\xf8",
        ""})
    EXPECT_TRUE(from_cbor(bytes).is_discarded()) << bytes.size();
  EXPECT_FALSE(from_cbor(std::string(16, '\x81') + '\x01').is_discarded());
  EXPECT_TRUE(from_cbor(std::string(17, '\x81') + '\x01').is_discarded());
  Json keys = Json::object();
  for (int key = 0; key < 64; ++key) keys[std::to_string(key)] = key;
  EXPECT_EQ(from_cbor(to_cbor(keys)), keys);
  keys["64"] = 64;
  EXPECT_TRUE(from_cbor(to_cbor(keys)).is_discarded());
}

}  // namespace
}  // namespace everytake
