// What everytake reads beside what two general-purpose readers of metadata do, ExifTool and MediaInfo; and the tests'
// own messages beside those that protoc writes.
#include <gtest/gtest.h>

#include <nlohmann/json.hpp>

#include "media/facts.h"
#include "os/posix_fs.h"
#include "support/maker_boxes.h"
#include "support/media_boxes.h"
#include "support/media_card.h"
#include "support/media_movie.h"
#include "support/rooms.h"
#include "support/shell.h"
#include "support/temp_dir.h"

namespace everytake {
namespace {

using namespace test;
using nlohmann::json;

const Rational kFilm(24000, 1001), kFast(120000, 1001);

constexpr const char* kMissing = "ExifTool, MediaInfo or protoc is not installed: bash cli/dependencies --tests";

bool has(const std::string& program) {
  return shell("command -v " + program).exit == 0;
}

class OtherReaders : public testing::Test {
 protected:
  OtherReaders() {
    Movie movie;
    movie.width = 64;
    movie.height = 36;
    movie.frames = 24;
    bytes_ = movie_bytes(movie);
  }

  // All that ExifTool finds in a file of these bytes, by name: "ISO"; numbers where they are numbers.
  json exiftool(const std::string& bytes) const {
    put_file(folder_ / "C0001.MP4", bytes);
    return json::parse(shell("exiftool -j -n -a -ee " + quoted(folder_ / "C0001.MP4")).out, nullptr, false).at(0);
  }
  ClipFacts ours(const std::string& bytes) const {
    put_file(folder_ / "C0001.MP4", bytes);
    const auto fs = PosixFs::open_at(folder_.path());
    const auto facts = read_facts(**fs, "", {"C0001", {{"C0001.MP4", FileRole::video}}}, {}, {});
    EXPECT_TRUE(facts) << facts.error().what;
    return facts.value_or(ClipFacts{});
  }
  std::string in_user_data(const std::string& content) const { return with_box(bytes_, {"moov", "udta"}, content); }

  // Both read the exposure of exposure() there.
  void expect_exposure(const std::string& bytes) const {
    const auto facts = ours(bytes);
    const auto theirs = exiftool(bytes);
    ASSERT_TRUE(facts.shutter && facts.iso);
    EXPECT_NEAR(facts.shutter->value(), theirs.at("ExposureTime").get<double>(), 1e-6);
    EXPECT_EQ(*facts.iso, theirs.at("ISO"));
  }

  TempDir folder_;
  std::string bytes_;
};

TEST_F(OtherReaders, AgreeOnMakersNotes) {
  if (!has("exiftool")) GTEST_SKIP() << kMissing;
  const auto f_log = in_user_data(box("MVTG", fujifilm_box(0x10)));
  EXPECT_EQ(ours(f_log).gamma, "f-log");
  EXPECT_EQ(exiftool(f_log).at("VideoRecordingMode"), 0x10);  // which it calls F-log
  expect_exposure(f_log);

  const auto v_log = in_user_data(box("PANA", panasonic_box(17)));
  EXPECT_EQ(ours(v_log).gamma, "v-log");
  EXPECT_EQ(exiftool(v_log).at("PhotoStyle"), 17);  // V-Log
  expect_exposure(v_log);
  const auto later = in_user_data(box("PANA", panasonic_box(17, 0x200080)));
  EXPECT_EQ(ours(later).gamma, "v-log");
  expect_exposure(later);

  const auto c_log = with_box(bytes_, {"moov"}, box("uuid", canon_box(2, 3)));
  EXPECT_EQ(ours(c_log).gamma, "c-log3");
  EXPECT_EQ(exiftool(c_log).at("CanonLogVersion"), 3);  // CLogV3
  EXPECT_EQ(exiftool(c_log).at("ColorSpace2"), 2);      // CinemaGamut
  expect_exposure(c_log);

  const auto fast = in_user_data(box("NCDT", box("NCTG", nikon_box(kFilm, kFast))));
  EXPECT_EQ(ours(fast).camera, exiftool(fast).at("Model"));
  EXPECT_NEAR(ours(fast).shutter->value(), exiftool(fast).at("ExposureTime").get<double>(), 1e-6);
  EXPECT_EQ(ours(fast).lens, exiftool(fast).at("LensModel"));

  const auto flat = in_user_data(box("GPMF", gopro_box("FLAT", kFilm)));
  EXPECT_EQ(exiftool(flat).at("ColorMode"), "FLAT");
  EXPECT_EQ(ours(flat).gamma, "flat");
  EXPECT_EQ(ours(flat).camera, exiftool(flat).at("Model"));
}

TEST_F(OtherReaders, AgreeOnTimedMetadata) {
  if (!has("exiftool")) GTEST_SKIP() << kMissing;
  expect_exposure(with_timed_metadata(
      bytes_,
      timed_sample({{0x8106, big(25, 4) + big(1, 4)}, {0x8109, big(1, 4) + big(50, 4)}, {0x810B, big(800, 2)}})));
}

TEST_F(OtherReaders, AgreeOnAncillaryPackets) {
  if (!has("mediainfo")) GTEST_SKIP() << kMissing;
  Movie movie;
  movie.format = "mxf";
  movie.video_codec = "mpeg2video";
  movie.rate = Rational(25, 1);
  movie.width = 64;
  movie.height = 36;
  movie.frames = 24;
  movie.ancillary = ancillary("\x43\x05", camera_set({{0x3210, label(0x01010604)},
                                                      {0x8106, big(50, 4) + big(1, 4)},
                                                      {0x8109, big(1, 4) + big(100, 4)},
                                                      {0x810B, big(800, 2)},
                                                      {0x810E, big(5600, 2)}}));
  const auto facts = ours(movie_bytes(movie));
  EXPECT_EQ(facts.gamma, "s-log3");
  const auto info = json::parse(shell("mediainfo --Output=JSON " + quoted(folder_ / "C0001.MP4")).out);
  for (const auto& track : info.at("media").at("track")) {
    if (track.value("MuxingMode", "") != "Ancillary data / RDD 18") continue;
    const auto of_first = [&](const char* name) {
      return track.at("extra").at(std::string(name) + "_FirstFrame").get<std::string>();
    };
    EXPECT_EQ(of_first("CaptureGammaEquation"), "0E06040101010604");  // the label's second half
    EXPECT_EQ(parse_rate(of_first("CaptureFrameRate")), facts.capture_rate);
    EXPECT_EQ(of_first("ShutterSpeed_Time"), to_string(facts.shutter.value()));
    EXPECT_EQ(of_first("ISOSensitivity"), std::to_string(facts.iso.value()));
    EXPECT_EQ(of_first("WhiteBalance"), std::to_string(facts.white_balance.value()));
    return;
  }
  FAIL() << info;
}

TEST_F(OtherReaders, WriteTheSameMessages) {
  if (!has("protoc")) GTEST_SKIP() << kMissing;
  put_file(folder_ / "sample.proto",
           R"(syntax = "proto3";
              message Header { string schema = 1; string camera = 10; }
              message Measure { float value = 1; }
              message Clip { Header header = 1; Measure sensor_rate = 11; }
              message Mode { int32 number = 1; }
              message Video { int32 kind = 7; }
              message Stream { Video video = 3; Mode colour = 4; }
              message Fraction { repeated int32 parts = 1; }
              message Whole { uint32 value = 1; }
              message Camera { Measure index = 3; Fraction shutter = 4; Whole white_balance = 6; }
              message Frame { Camera camera = 2; }
              message Sample { Clip clip = 1; Stream stream = 2; Frame frame = 3; })");
  for (const int mode : {0, 2, 19}) {
    const std::string colour = mode == 0 ? "" : "number: " + std::to_string(mode);
    put_file(folder_ / "sample.txt", R"(clip { header { schema: "dvtm_oq101.proto" camera: "L-1" }
                                               sensor_rate { value: 119.93 } }
                                        stream { video { kind: 2 } colour { )" +
                                         colour + R"( } }
                                        frame { camera { index { value: 800 } shutter { parts: 1 parts: 50 }
                                                         white_balance { value: 5600 } } })");
    const auto ran = shell("cd " + quoted(folder_.path()) + " && protoc --encode=Sample sample.proto < sample.txt");
    EXPECT_EQ(ran.exit, 0) << ran.err;
    EXPECT_EQ(ran.out, djmd_sample({.colour_mode = mode, .sensor_rate = 119.93F, .slow_motion = true}));
  }
}

TEST_F(OtherReaders, AgreeOnTheCard) {
  if (!has("exiftool") || !has("mediainfo")) GTEST_SKIP() << kMissing;
  make_card(folder_.path(), card_clips());
  const auto fs = PosixFs::open_at(folder_.path());
  for (const auto& clip : card_clips()) {
    SCOPED_TRACE(clip.name());
    const Path file = Path("PRIVATE/M4ROOT/CLIP") / (clip.name() + ".MP4");
    const auto facts = read_facts(**fs, "", {clip.name(), {{file, FileRole::video}}}, {}, {});
    ASSERT_TRUE(facts) << facts.error().what;
    const auto full = quoted(folder_ / file.string());
    const auto exif = json::parse(shell("exiftool -j -n " + full).out).at(0);
    EXPECT_EQ(*facts->width, exif.at("ImageWidth"));
    EXPECT_EQ(*facts->height, exif.at("ImageHeight"));
    EXPECT_NEAR(facts->frame_rate->value(), exif.at("VideoFrameRate").get<double>(), 2e-3);
    const auto info = json::parse(shell("mediainfo --Output=JSON " + full).out);
    for (const auto& track : info.at("media").at("track")) {
      const auto number = [&](const char* name) { return std::stod(track.at(name).get<std::string>()); };
      if (track.at("@type") == "Video") {
        EXPECT_EQ(*facts->width, number("Width"));
        EXPECT_EQ(*facts->height, number("Height"));
        EXPECT_EQ(static_cast<double>(*facts->frames), number("FrameCount"));
        EXPECT_EQ(*facts->bit_depth, number("BitDepth"));
        EXPECT_NEAR(seconds(*facts->duration), number("Duration"), 1e-3);
        EXPECT_NEAR(facts->frame_rate->value(), number("FrameRate"), 1e-3);
      }
      if (track.at("@type") == "Other" && track.contains("TimeCode_FirstFrame")) {
        EXPECT_EQ(facts->timecode, track.at("TimeCode_FirstFrame").get<std::string>());
      }
    }
  }
}

}  // namespace
}  // namespace everytake
