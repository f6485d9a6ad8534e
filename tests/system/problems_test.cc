// What is wrong with clips, through the real program: told after an offload and wherever clips are told of.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <map>
#include <set>

#include "support/media_card.h"
#include "support/media_movie.h"
#include "support/media_song.h"
#include "support/rooms.h"
#include "support/shoot_bench.h"

namespace everytake {
namespace {

using test::quoted;
using testing::HasSubstr;
using Codes = std::set<std::string>;

class Problems : public test::ShootBench {
 protected:
  static Codes codes(const nlohmann::json& clip) {
    Codes codes;
    for (const auto& problem : clip["problems"]) codes.insert(problem["code"]);
    return codes;
  }
};

// The plan has no song file: the sound is listened to all the same.
TEST_F(Problems, AreToldWhereverAClipIs) {
  const auto all = test::card_clips();
  auto short_take = all[5];
  short_take.seconds = 2;
  test::make_card(card_, {all[3], short_take, all[6], all[10], all[11]});
  const auto offloaded = everytake("offload " + quoted(card_));
  ASSERT_EQ(offloaded.exit, 0) << offloaded.err;
  EXPECT_THAT(offloaded.out, HasSubstr("C0007.MP4 is shot in rec709, the plan wants s-log3"));

  const std::map<std::string, Codes> expected{{"C0004", {}},
                                              {"C0006", {"other_rate"}},  // 29.97 in an edit of 23.976
                                              {"C0007", {"other_gamma"}},
                                              {"C0011", {"silent_sound"}},
                                              {"C0012", {}}};  // slow motion, and has no sound
  const auto found = json("find");
  ASSERT_EQ(found["clips"].size(), expected.size());
  for (const auto& clip : found["clips"]) {
    EXPECT_EQ(codes(clip), expected.at(clip["name"])) << clip["name"];
    EXPECT_EQ(codes(json("show " + clip["name"].get<std::string>())["clip"]), expected.at(clip["name"]));
  }
  EXPECT_EQ(json("find --problem")["clips"].size(), 3U);
  EXPECT_EQ(json("coverage")["problem_clips"], 3);
  EXPECT_THAT(everytake("coverage").out, HasSubstr("3 clips have a problem: everytake find --problem\n"));
}

TEST_F(Problems, HoldALensCap) {
  auto clip = test::card_clips()[3];
  test::make_card(card_, {clip});
  test::Movie black;
  black.rate = clip.rate;
  black.frames = clip.frames();
  black.paint = [](float, float, int) { return test::Colour{0.004F, 0.002F, 0.006F}; };
  black.sound = test::room_noise(clip.seconds, 4);
  test::make_movie(card_ / "PRIVATE/M4ROOT/CLIP/C0004.MP4", black);
  ASSERT_EQ(everytake("offload " + quoted(card_)).exit, 0);
  EXPECT_EQ(codes(json("show C0004")["clip"]), Codes{"black_picture"});
}

}  // namespace
}  // namespace everytake
