// A shoot with playback: what the sound alone tells, through the real program.
#include <gtest/gtest.h>

#include <map>

#include "support/media_card.h"
#include "support/rooms.h"
#include "support/shoot_bench.h"

namespace everytake {
namespace {

using Json = nlohmann::json;
using test::quoted;

class Placing : public test::ShootBench {
 protected:
  static constexpr const char* kSong = "song.wav";

  Placing() {
    auto text = plan();
    text.replace(text.find("length = \"2:08\""), 0, "file = \"song.wav\"\n");
    test::put_file(shoot_ / "shoot.toml", text);
  }

  std::map<std::string, Json> clips() const {
    std::map<std::string, Json> by_name;
    const auto found = json("find");
    for (const auto& clip : found["clips"]) by_name[clip["name"]] = clip;
    return by_name;
  }
};

TEST_F(Placing, FillsCoverageWithoutATag) {
  test::write_song(shoot_ / kSong);
  test::make_card(card_, test::card_clips());
  ASSERT_EQ(everytake("offload " + quoted(card_)).exit, 0);
  const auto all = clips();
  for (const auto& each : test::card_clips()) {
    const auto& song = all.at(each.name())["song"];
    if (each.hears != test::CardClip::Hears::song) {
      EXPECT_TRUE(song["state"] == "none" || song["state"] == "no_audio") << each.name() << song;
      continue;
    }
    if (each.cut) continue;  // its index and its sound's end are gone: whatever is left may or may not do
    ASSERT_EQ(song["state"], "placed") << each.name() << song;
    EXPECT_NEAR(song["start_s"].get<double>(), each.song_start, 0.005) << each.name();
    EXPECT_EQ(song["by"], "rule");
    EXPECT_EQ(all.at(each.name())["kind"], "performance") << each.name();
  }
  const auto coverage = json("coverage");
  EXPECT_EQ(coverage["sections"][0]["takes"], 1);  // the intro, by C0001
  EXPECT_EQ(coverage["sections"][1]["takes"], 1);
}

TEST_F(Placing, WaitsForASongThatIsNotThereAndNeverOverrulesTheHand) {
  test::make_card(card_, {test::card_clips()[9], test::card_clips()[3]});  // C0010 of 20 s, C0004
  const auto ran = everytake("offload " + quoted(card_));
  EXPECT_EQ(ran.exit, 0) << ran.err;
  EXPECT_NE(ran.err.find("song.wav"), std::string::npos) << ran.err;
  EXPECT_EQ(clips().at("C0010")["song"]["state"], "pending");

  test::write_song(shoot_ / kSong);
  ASSERT_EQ(everytake("study").exit, 0);
  EXPECT_EQ(clips().at("C0010")["song"]["state"], "placed");
  ASSERT_EQ(everytake("tag C0010 --start 0:30").exit, 0);
  ASSERT_EQ(everytake("study").exit, 0);
  EXPECT_EQ(clips().at("C0010")["song"]["by"], "hand");
  EXPECT_EQ(clips().at("C0010")["song"]["start_s"], 30.0);
  ASSERT_EQ(everytake("tag C0010 --clear start").exit, 0);
  EXPECT_NEAR(clips().at("C0010")["song"]["start_s"].get<double>(), 104, 0.005);
}

}  // namespace
}  // namespace everytake
