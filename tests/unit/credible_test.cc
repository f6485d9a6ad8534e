#include "examiner/credible.h"

#include <gtest/gtest.h>

#include <limits>

#include "media/sound/levels.h"
#include "support/clip_facts.h"
#include "support/rooms.h"

namespace everytake {
namespace {

using Change = void (*)(ClipFacts&);

TEST(Credible, IsWhatARecordingCanHave) {
  EXPECT_TRUE(is_credible(ClipFacts{}));
  EXPECT_TRUE(is_credible(test::every_fact()));
  const auto facts = believe<ClipFacts>(pack(test::every_fact()));
  ASSERT_TRUE(facts);
  test::expect_same(*facts, test::every_fact());
}

TEST(Credible, NeverAreFactsThatNoRecordingHas) {
  const Change changes[] = {
      [](ClipFacts& facts) { facts.duration = Micros::max(); },
      [](ClipFacts& facts) { facts.duration = Micros::min(); },
      [](ClipFacts& facts) { facts.recorded_at = Instant::max(); },
      [](ClipFacts& facts) { facts.frames = -1; },
      [](ClipFacts& facts) { facts.frames = 1'000'000'000'001; },
      [](ClipFacts& facts) { facts.bit_rate = INT64_MAX; },
      [](ClipFacts& facts) { facts.width = -1; },
      [](ClipFacts& facts) {
        facts.levels = {1, 0, 1.5};
      },
      [](ClipFacts& facts) {
        facts.frames_seen = {1, 2};
      },
      [](ClipFacts& facts) { facts.problems.resize(257); },
      [](ClipFacts& facts) {
        for (int i = 0; i < 257; ++i) facts.origin[std::to_string(i)] = "";
      },
  };
  for (const auto& change : changes) {
    auto facts = test::every_fact();
    change(facts);
    EXPECT_FALSE(is_credible(facts)) << &change - changes;
    const auto believed = believe<ClipFacts>(pack(facts));
    ASSERT_FALSE(believed) << &change - changes;
    EXPECT_EQ(believed.error().code, Code::corrupt);
  }
}

TEST(Credible, AreLevelsWithinWhatSoundCanHave) {
  EXPECT_TRUE(is_credible(SoundLevels{960'000, -9.5, 0.25}));
  EXPECT_TRUE(is_credible(SoundLevels{0, media::kSilentDb, 0}));
  const double nan = std::numeric_limits<double>::quiet_NaN();
  for (const auto& wrong :
       {SoundLevels{-1, 0, 0}, {1LL << 50, 0, 0}, {1, nan, 0}, {1, 0, nan}, {1, 200, 0}, {1, 0, 1.5}}) {
    EXPECT_FALSE(is_credible(wrong));
    EXPECT_FALSE(believe<SoundLevels>(pack(wrong)));
  }
}

TEST(Credible, IsAStripOnlyWhereItCanBeOne) {
  const std::string jpeg = "\xFF\xD8 picture \xFF\xD9";
  EXPECT_TRUE(is_credible(Strip{jpeg, {5, 1}}));
  EXPECT_TRUE(is_credible(Strip{"", {0, 0}}));
  for (const auto& wrong : {Strip{jpeg, {0, 0}},
                            {"", {5, 1}},
                            {jpeg, {1, 2}},
                            {jpeg, {6, 1}},
                            {jpeg, {5, -1}},
                            {"<script>", {5, 1}},
                            {jpeg + "x", {5, 1}},
                            {"\xFF\xD8" + std::string(kMostStrip, 'x') + "\xFF\xD9", {5, 1}}})
    EXPECT_FALSE(is_credible(wrong));
}

TEST(Credible, IsNoLengthOfNothing) {
  EXPECT_EQ(believe<Micros>(pack(Micros(1))), Micros(1));
  for (const auto wrong : {Micros{}, Micros(-1)}) EXPECT_FALSE(believe<Micros>(pack(wrong)));
}

}  // namespace
}  // namespace everytake
