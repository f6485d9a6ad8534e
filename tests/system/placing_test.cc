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

// Two recordings at 119.88 frames a second: C0005, slow motion of 6 s stored at 23.976 without sound though its notes
// name two channels, was shot in 1.2 s; C0008, 2 s of a file that plays at its own rate with sound, in 2 s. C0014 was
// captured at 47.952, stored at 23.976 and mimed to the song at twice its speed: its 10 s hold 10 s of song, lips in
// time.
TEST_F(Placing, TellsSlowMotionFromHighRatesInRealTime) {
  test::write_song(shoot_ / kSong);
  const test::CardClip mimed{
      .number = 14, .capture = Rational(48000, 1001), .seconds = 10, .hears = test::CardClip::Hears::nothing};
  test::make_card(card_, {test::card_clips()[4], test::card_clips()[7], mimed});
  ASSERT_EQ(everytake("offload " + quoted(card_)).exit, 0);
  ASSERT_EQ(everytake("tag C0005 C0008 --start 0:31").exit, 0);
  ASSERT_EQ(everytake("tag C0014 --start 0:40 --speed 2").exit, 0);

  const auto all = clips();
  const auto expect_span = [&](const char* name, double from, double to) {
    const auto& spans = all.at(name)["song"]["spans"];
    ASSERT_EQ(spans.size(), 1U) << name << spans;
    EXPECT_EQ(spans[0][0], from) << name;
    EXPECT_NEAR(spans[0][1].get<double>(), to, 0.021) << name;  // a clip is whole frames: half of one at 23.976
  };
  EXPECT_EQ(all.at("C0005")["audio"], false);
  EXPECT_EQ(all.at("C0005")["slow_factor"], 5.0);
  EXPECT_EQ(all.at("C0005")["song"]["stored_slow"], 5.0);
  expect_span("C0005", 31, 32.2);
  EXPECT_EQ(all.at("C0008")["audio"], true);
  EXPECT_EQ(all.at("C0008")["capture_rate"], "120000/1001");
  EXPECT_EQ(all.at("C0008")["song"]["stored_slow"], 1.0);
  expect_span("C0008", 31, 33);
  EXPECT_EQ(all.at("C0014")["song"]["stored_slow"], 2.0);
  expect_span("C0014", 40, 50);

  const auto found = json("find --at 0:32")["clips"];
  ASSERT_EQ(found.size(), 2U);
  EXPECT_EQ(found[0]["open_at_s"], 5.0);  // C0005: a second of the song later
  EXPECT_EQ(found[1]["open_at_s"], 1.0);
  EXPECT_EQ(json("find --at 0:47.5")["clips"][0]["open_at_s"], 7.5);
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
