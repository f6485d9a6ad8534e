#include "examiner/facts_wire.h"

#include <gtest/gtest.h>

#include <random>

#include "base/json.h"
#include "support/rooms.h"

namespace everytake {
namespace {

ClipFacts full_facts() {
  ClipFacts facts;
  facts.duration = Micros(12'345'678);
  facts.frames = 296;
  facts.frame_rate = Rational(24000, 1001);
  facts.capture_rate = Rational(120000, 1001);
  facts.width = 3840;
  facts.height = 2160;
  facts.rotation = 270;
  facts.codec = "hevc";
  facts.bit_depth = 10;
  facts.bit_rate = 100'000'000;
  facts.gamma = "s-log3";
  facts.gamut = "s-gamut3";
  facts.timecode = "01:00:00;02";
  facts.drop_frame = true;
  facts.recorded_at = Instant(Micros(1'700'000'000'000'000));
  facts.camera = "Camera \xff";
  facts.lens = "35 mm";
  facts.iso = 800;
  facts.shutter = Rational(1, 50);
  facts.white_balance = 5600;
  facts.audio = false;
  facts.problems = {{"truncated", "CLIP/C\xff.MP4", "", "the end is missing"}};
  facts.origin = {{"gamma", "sidecar"}};
  return facts;
}

TEST(FactsWire, GivesBackEveryField) {
  for (const auto& facts : {full_facts(), ClipFacts{}}) {
    const auto again = unpack_facts(pack_facts(facts));
    ASSERT_TRUE(again);
    EXPECT_EQ(pack_facts(*again), pack_facts(facts));
    EXPECT_EQ(again->problems, facts.problems);
    EXPECT_EQ(again->frame_rate, facts.frame_rate);
    EXPECT_EQ(again->recorded_at, facts.recorded_at);
    EXPECT_EQ(again->camera, facts.camera);
    EXPECT_EQ(again->audio, facts.audio);
  }
}

TEST(FactsWire, RefusesWhatCanNotBe) {
  const std::pair<const char*, Json> cases[] = {
      {"duration", INT64_MAX},
      {"duration", UINT64_MAX},
      {"duration", "long"},
      {"frame_rate", Json::array({24, 0})},
      {"frame_rate", Json::array({-24, 1})},
      {"frame_rate", Json::array({24})},
      {"width", 1LL << 40},
      {"gamma", std::string(5000, 'x')},
      {"gamma", 3},
      {"audio", 1},
      {"problems", nullptr},
      {"problems", Json::array({Json::array({"code"})})},
      {"origin", Json::array({1})},
  };
  for (const auto& [name, value] : cases) {
    auto json = from_cbor(pack_facts(full_facts()));
    json[name] = value;
    const auto facts = unpack_facts(to_cbor(json));
    ASSERT_FALSE(facts) << name << " " << value;
    EXPECT_EQ(facts.error().code, Code::corrupt);
  }
  auto lacking = from_cbor(pack_facts(full_facts()));
  lacking.erase("codec");
  EXPECT_FALSE(unpack_facts(to_cbor(lacking)));
  EXPECT_FALSE(unpack_facts(""));
}

TEST(FactsWire, TakesAnyBytesWithoutHarm) {
  const auto good = pack_facts(full_facts());
  std::mt19937 random(7);
  int taken = 0;
  for (int i = 0; i < 20'000; ++i) {
    auto bytes = good;
    for (int changes = 1 + static_cast<int>(random() % 4); changes > 0; --changes)
      bytes[random() % bytes.size()] = static_cast<char>(random());
    bytes.resize(random() % 8 == 0 ? random() % bytes.size() : bytes.size());
    const auto facts = unpack_facts(bytes);
    if (!facts) continue;
    ++taken;
    EXPECT_LE(facts->problems.size(), 256U);
    EXPECT_EQ(pack_facts(*unpack_facts(pack_facts(*facts))), pack_facts(*facts));  // what was taken can be handed on
  }
  EXPECT_GT(taken, 100);  // changed words and numbers are as good as others
}

}  // namespace
}  // namespace everytake
