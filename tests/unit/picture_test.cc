#include "media/picture/av_picture.h"

#include <gtest/gtest.h>

extern "C" {
#include <libavcodec/avcodec.h>
}

#include <array>
#include <memory>

#include "media/gamma.h"
#include "media/probe.h"
#include "support/fault_fs.h"
#include "support/media_movie.h"
#include "support/mem_fs.h"
#include "support/rooms.h"

namespace everytake {
namespace {

using test::Colour;
using test::MemFs;
using test::Movie;

// A JPEG decoded by libavcodec: luma and both colour differences.
struct Seen {
  int width = 0, height = 0;
  std::array<std::vector<int>, 3> planes;
  FramesSeen frames;  // as the strip tells
  int at(int plane, int x, int y) const {
    return planes[static_cast<std::size_t>(plane)]
                 [static_cast<std::size_t>(y) * static_cast<std::size_t>(width) + static_cast<std::size_t>(x)];
  }
};

Seen decoded(const std::string& jpeg) {
  AVCodecContext* codec = avcodec_alloc_context3(avcodec_find_decoder(AV_CODEC_ID_MJPEG));
  AVPacket* packet = av_packet_alloc();
  AVFrame* frame = av_frame_alloc();
  Seen seen;
  av_new_packet(packet, static_cast<int>(jpeg.size()));
  std::copy(jpeg.begin(), jpeg.end(), packet->data);
  if (avcodec_open2(codec, nullptr, nullptr) >= 0 && avcodec_send_packet(codec, packet) >= 0 &&
      avcodec_receive_frame(codec, frame) >= 0 && frame->format == AV_PIX_FMT_YUVJ444P) {
    seen.width = frame->width;
    seen.height = frame->height;
    for (std::size_t plane = 0; plane < 3; ++plane)
      for (int y = 0; y < frame->height; ++y)
        for (int x = 0; x < frame->width; ++x)
          seen.planes[plane].push_back(frame->data[plane][y * frame->linesize[plane] + x]);
  }
  av_frame_free(&frame);
  av_packet_free(&packet);
  avcodec_free_context(&codec);
  return seen;
}

Movie small_movie() {
  Movie movie;
  movie.width = 128;
  movie.height = 72;
  return movie;
}

Seen strip_in(const MemFs& fs, const std::vector<Path>& videos, const ClipFacts& facts) {
  const auto strip = picture_strip(fs, videos, facts, {});
  if (!strip || strip->jpeg.empty()) return {};
  auto seen = decoded(strip->jpeg);
  seen.frames = strip->seen;
  return seen;
}

Seen strip_of(const Movie& movie, const std::string& gamma = "rec709", int rotation = 0) {
  MemFs fs;
  fs.put("clip", movie_bytes(movie));
  auto facts = *probe(fs, "clip", {});
  facts.gamma = gamma;
  facts.rotation = rotation;
  return strip_in(fs, {"clip"}, facts);
}

// IEC 61966-2-1: an 18 % grey card is code 118 of 255 in sRGB; its codes in log are the makers' own (gamma_test.cc).
TEST(PictureStrip, ShowsTheGreyCardOfLogFootageAsGrey) {
  struct Case {
    const char* gamma;
    const char* encoder;
    const char* pixels;
    bool full_range;
  };
  for (const auto& [gamma, encoder, pixels, full] : {Case{"s-log3", "libx264", "yuv420p10le", false},
                                                     {"s-log3-cine", "libx265", "yuv420p10le", false},
                                                     {"v-log", "libx265", "yuv422p10le", false},
                                                     {"c-log3", "libx264", "yuv422p10le", false},
                                                     {"n-log", "libx265", "yuv420p10le", false},
                                                     {"apple-log", "libx264", "yuv420p10le", false},
                                                     {"log-c4", "libx264", "yuv420p10le", false},
                                                     {"s-log3", "libx264", "yuv420p", true},
                                                     {"hlg", "libx265", "yuv420p10le", false},
                                                     {"rec709", "libx264", "yuv420p", false},
                                                     {"rec709", "libx264", "yuv420p", true}}) {
    Movie movie = small_movie();
    movie.frames = 10;
    movie.video_codec = encoder;
    movie.pixels = pixels;
    movie.full_range = full;
    const Curve& curve = *curve_of(gamma);
    const double v = curve.encode(0.18);
    const auto level = static_cast<float>(full && curve.log ? v : (v * 1023 - 64) / 876);
    movie.paint = [level](float, float, int) { return Colour{level, level, level}; };
    const Seen seen = strip_of(movie, gamma);
    ASSERT_GT(seen.width, 0) << gamma << " " << encoder;
    EXPECT_NEAR(seen.at(0, 64, 36), 118, 2) << gamma << " " << encoder << " " << pixels;
    EXPECT_NEAR(seen.at(1, 64, 36), 128, 2) << gamma;
    EXPECT_NEAR(seen.at(2, 64, 36), 128, 2) << gamma;
  }
}

// Each frame is brighter than the one before.
Movie dawn(int frames) {
  Movie movie = small_movie();
  movie.frames = frames;
  movie.paint = [frames](float, float, int n) {
    const float level = 0.2F + 0.6F * static_cast<float>(n) / static_cast<float>(frames - 1);
    return Colour{level, level, level};
  };
  return movie;
}

TEST(PictureStrip, TakesStartQuartersAndEnd) {
  const Seen seen = strip_of(dawn(101), "unheard of");  // is shown as it is
  ASSERT_EQ(seen.width, 5 * 128);
  ASSERT_EQ(seen.height, 72);
  for (int i = 0; i < 5; ++i) EXPECT_NEAR(seen.at(0, i * 128 + 64, 36) / 255.0, 0.2 + 0.15 * i, 0.02) << i;
}

TEST(PictureStrip, LeavesBlackFramesOutUnlessAllAre) {
  Movie movie = dawn(101);
  movie.paint = [](float, float, int n) { return n < 10 || n > 90 ? Colour{} : Colour{0.5F, 0.5F, 0.5F}; };
  EXPECT_EQ(strip_of(movie).width, 3 * 128);
  EXPECT_EQ(strip_of(movie).frames, (FramesSeen{5, 2}));
  movie.paint = [](float, float, int) { return Colour{}; };
  EXPECT_EQ(strip_of(movie).width, 128);
}

// The left upper quarter is bright as coded; a turn clockwise brings it to the right.
TEST(PictureStrip, TurnsFramesUpright) {
  Movie movie = small_movie();
  movie.frames = 5;
  movie.paint = [](float x, float y, int) {
    return x < 0.5F && y < 0.5F ? Colour{0.9F, 0.9F, 0.9F} : Colour{0.2F, 0.2F, 0.2F};
  };
  struct Case {
    int turn, width, height, x, y;  // and where the bright quarter's middle is
  };
  for (const auto& [turn, width, height, x, y] :
       {Case{0, 128, 72, 32, 18}, {90, 72, 128, 54, 32}, {180, 128, 72, 96, 54}, {270, 72, 128, 18, 96}}) {
    const Seen seen = strip_of(movie, "rec709", turn);
    ASSERT_EQ(seen.width, 5 * width) << turn;
    ASSERT_EQ(seen.height, height) << turn;
    EXPECT_GT(seen.at(0, x, y), 200) << turn;
    EXPECT_LT(seen.at(0, width - 1 - x, height - 1 - y), 100) << turn;
  }
}

TEST(PictureStrip, SaysNothingOfWhatHasNoPicture) {
  MemFs fs;
  fs.put("noise", std::string(5000, 'x'));
  const Path noise = "noise";
  const auto strip = picture_strip(fs, std::span(&noise, 1), {}, {});
  ASSERT_TRUE(strip);
  EXPECT_EQ(strip->jpeg, "");
  EXPECT_EQ(strip->seen, FramesSeen{});
}

TEST(PictureStrip, ShowsWhatIsThereOfAFileThatIsCutOff) {
  Movie movie = dawn(101);
  movie.index_first = true;
  auto bytes = movie_bytes(movie);
  MemFs fs;
  fs.put("clip", bytes.substr(0, bytes.size() * 6 / 10));
  const auto facts = *probe(fs, "clip", {});
  EXPECT_GE(strip_in(fs, {"clip"}, facts).width, 2 * 128);
}

TEST(PictureStrip, TakesFramesFromAllFilesOfASpan) {
  MemFs fs;
  Movie dark = small_movie(), bright = small_movie();
  dark.frames = 24;
  bright.frames = 72;
  dark.paint = [](float, float, int) { return Colour{0.3F, 0.3F, 0.3F}; };
  bright.paint = [](float, float, int) { return Colour{0.8F, 0.8F, 0.8F}; };
  fs.put("A", movie_bytes(dark));
  fs.put("B", movie_bytes(bright));
  auto facts = *probe(fs, "A", {});
  *facts.duration *= 4;
  const Seen seen = strip_in(fs, {"A", "B"}, facts);
  ASSERT_EQ(seen.width, 5 * 128);
  EXPECT_NEAR(seen.at(0, 64, 36) / 255.0, 0.3, 0.02);
  for (int i = 2; i < 5; ++i) EXPECT_NEAR(seen.at(0, i * 128 + 64, 36) / 255.0, 0.8, 0.02) << i;
}

TEST(PictureStrip, DecodesKeyFramesAloneWhereTheyAreNearEnough) {
  Movie movie = dawn(401);
  movie.key_every = 12;
  const Seen seen = strip_of(movie, "unheard of");
  ASSERT_EQ(seen.width, 5 * 128);  // a sixteenth of the way is 0.0375 of brightness
  for (int i = 0; i < 5; ++i) EXPECT_NEAR(seen.at(0, i * 128 + 64, 36) / 255.0, 0.2 + 0.15 * i, 0.0375) << i;
}

}  // namespace
}  // namespace everytake
