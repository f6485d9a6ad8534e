#include "offload/hash.h"

#include <gtest/gtest.h>

#include "support/mem_fs.h"
#include "support/rooms.h"

namespace everytake {
namespace {

Digest hash_text(std::string_view text) {
  Hasher hasher;
  hasher.update(std::as_bytes(std::span(text)));
  return hasher.digest();
}

// The sanity buffer of xxHash's own self-test (xxhash repository, cli/xsum_sanity_check.c): bytes made by
// gen = 2654435761; buffer[i] = gen >> 56; gen *= 11400714785074694797.
std::string sanity_buffer(std::size_t size) {
  std::string buffer;
  std::uint64_t gen = 2654435761U;
  for (std::size_t i = 0; i < size; ++i) {
    buffer += static_cast<char>(gen >> 56);
    gen *= 11400714785074694797ULL;
  }
  return buffer;
}

// XXH3-128 with seed 0 as published in the same file (XSUM_XXH128_testdata): length, high word, low word.
TEST(Hash, GivesXxHashsPublishedSanityValues) {
  struct Vector {
    std::size_t length;
    const char* hex;
  };
  const Vector vectors[] = {
      {12,
       "6e3efd8fc7802b18"
       "061a192713f69ad9"},
      {24,
       "0ce966e4678d3761"
       "1e7044d28b1b901d"},
      {48,
       "a002ac4e5478227e"
       "f942219aed80f67b"},
      {81,
       "4952f58181ab0042"
       "5e8bafb9f95fb803"},
      {222,
       "337e09641b948717"
       "f1aebd597cec6b3a"},
      {403,
       "1b6de21e332dd73d"
       "cdeb804d65c6dea4"},
      {512,
       "18d2d110dcc9bca1"
       "617e49599013cb6b"},
      {2048,
       "f736557fd47073a5"
       "dd59e2c3a5f038e0"},
      {2240,
       "ccb134fbfa7ce49d"
       "6e73a90539cf2948"},
      {2367,
       "e89c0f6ff369b427"
       "cb37aeb9e5d361ed"},
  };
  for (const auto& vector : vectors) EXPECT_EQ(hash_text(sanity_buffer(vector.length)).hex(), vector.hex);
}

TEST(Digest, ReadsBackItsOwnHex) {
  const auto digest = hash_text("abc");
  EXPECT_EQ(Digest::from_hex(digest.hex()), digest);
  EXPECT_EQ(Digest::from_hex("12"), std::nullopt);
  EXPECT_EQ(Digest::from_hex(std::string(32, 'g')), std::nullopt);
}

TEST(HashFile, RefusesAFileThatIsChangedWhileItIsRead) {
  test::MemFs fs;
  const std::string bytes(9'000'000, 'a');  // two blocks and a part
  fs.put("f", bytes);
  EXPECT_TRUE(hash_file(fs, "f", Cache::avoid, {}, {}));
  auto changed = bytes;
  changed[5] = 'b';  // where it was read already
  const auto reading = hash_file(fs, "f", Cache::avoid, {}, [&] { fs.rewrite("f", changed); });
  ASSERT_FALSE(reading);
  EXPECT_EQ(reading.error().code, Code::corrupt);
}

TEST(SampleOf, TellsApartFilesThatDifferAtEitherEnd) {
  test::MemFs fs;
  const std::string base(5'000'001, 'a');
  const auto sample = [&](std::string bytes) {
    fs.put("f", bytes);
    return *sample_of(fs, {"f", bytes.size(), {}});
  };
  const auto original = sample(base);
  for (const std::size_t at : {std::size_t{0}, std::size_t{1'000'000}, base.size() - 1, base.size() - 900'000}) {
    auto changed = base;
    changed[at] = 'b';
    EXPECT_NE(sample(changed), original) << at;
  }
  EXPECT_EQ(sample(base), original);
}

}  // namespace
}  // namespace everytake
