// `show --picture` and `sheet` with the real program, on a made card.
#include <gtest/gtest.h>

#include <boost/filesystem.hpp>

#include "support/media_card.h"
#include "support/rooms.h"
#include "support/shoot_bench.h"

namespace everytake {
namespace {

using test::quoted;
using test::shell;

class PictureProgram : public test::ShootBench {
 protected:
  // What ffprobe sees of an image: "mjpeg,2400,270".
  std::string image(const Path& file) const {
    return shell("ffprobe -v error -of csv=p=0 -show_entries stream=codec_name,width,height " + quoted(file)).out;
  }
};

TEST_F(PictureProgram, WritesFiveFramesOfAClipAndNeverOverAFile) {
  test::make_card(card_, {test::card_clips().front()});
  ASSERT_EQ(everytake("offload " + quoted(card_)).exit, 0);
  const auto file = dir_ / "C0001.jpg";
  const auto made = everytake("show C0001 --picture " + quoted(file));
  ASSERT_EQ(made.exit, 0) << made.err;
  const auto clip = json("show C0001")["clip"];
  const int width = clip["width"], height = clip["height"];
  ASSERT_LE(width, 480);
  EXPECT_EQ(image(file), "mjpeg," + std::to_string(5 * width) + "," + std::to_string(height) + "\n");

  const auto kept = shell("ls " + quoted(shoot_ / "pictures")).out;
  EXPECT_EQ(kept.rfind("R001-C0001-", 0), 0U) << kept;
  EXPECT_EQ(shell("cmp " + quoted(shoot_ / "pictures" / kept.substr(0, kept.size() - 1)) + " " + quoted(file)).exit, 0);

  const auto again = everytake("show C0001 --picture " + quoted(file));
  EXPECT_NE(again.exit, 0);
  EXPECT_NE(again.err.find("stays as it is"), std::string::npos) << again.err;
}

TEST_F(PictureProgram, MakesASheetOfTheClipsThatAreWanted) {
  const auto clips = test::card_clips();
  test::make_card(card_, {clips[0], clips[3]});  // C0001 and C0004
  ASSERT_EQ(everytake("offload " + quoted(card_)).exit, 0);
  const auto file = dir_ / "sheet.html";
  const auto made = everytake("sheet C0004 --out " + quoted(file));
  ASSERT_EQ(made.exit, 0) << made.err;
  const auto html = shell("cat " + quoted(file)).out;
  EXPECT_NE(html.find("R001/C0004"), std::string::npos);
  EXPECT_EQ(html.find("R001/C0001"), std::string::npos);
  EXPECT_NE(html.find("src=\"data:image/jpeg;base64,/9j/"), std::string::npos);  // a JPEG's first bytes
  EXPECT_EQ(everytake("sheet --kind slow-mo --out " + quoted(dir_ / "none.html")).exit, 1);
  EXPECT_FALSE(boost::filesystem::exists(dir_ / "none.html"));
}

TEST_F(PictureProgram, SaysWhichDiskIsWantedWhereNoCopyIsInReach) {
  test::make_card(card_, {test::card_clips().front()});
  ASSERT_EQ(everytake("offload " + quoted(card_)).exit, 0);
  shell("mv " + quoted(desk_) + " " + quoted(dir_ / "away") + " && rm -r " +
        quoted(shuttle_.path() / "saltmarsh-radio"));
  EXPECT_EQ(everytake("show C0001 --picture " + quoted(dir_ / "kept.jpg")).exit, 0);  // made when it was studied
  shell("rm -r " + quoted(shoot_ / "pictures"));
  const auto ran = everytake("show C0001 --picture " + quoted(dir_ / "none.jpg"));
  EXPECT_NE(ran.exit, 0);
  EXPECT_NE(ran.err.find("no verified copy is in reach"), std::string::npos) << ran.err;
  EXPECT_FALSE(boost::filesystem::exists(dir_ / "none.jpg"));
}

}  // namespace
}  // namespace everytake
