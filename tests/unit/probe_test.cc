#include "media/probe.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <random>

#include "base/text.h"
#include "support/fault_fs.h"
#include "support/media_movie.h"
#include "support/mem_fs.h"
#include "support/rooms.h"

namespace everytake {
namespace {

using test::MemFs;
using test::Movie;
using test::movie_bytes;

Movie small_movie() {
  Movie movie;
  movie.width = 64;
  movie.height = 36;
  movie.frames = 24;
  return movie;
}

ClipFacts probe_bytes(std::string bytes) {
  MemFs fs;
  fs.put("C0001.MP4", std::move(bytes));
  auto facts = probe(fs, "C0001.MP4", {});
  EXPECT_TRUE(facts) << facts.error().what;
  return facts ? *facts : ClipFacts{};
}

bool has_problem(const ClipFacts& facts, std::string_view code) {
  return std::any_of(facts.problems.begin(), facts.problems.end(),
                     [&](const Problem& p) { return to_string(p.code) == code; });
}

std::size_t box_at(const std::string& bytes, const char* type) {
  return bytes.find(type) - 4;
}

TEST(Probe, TellsWhatTheContainerKnows) {
  Movie movie = small_movie();
  movie.pixels = "yuv422p10le";
  movie.created = "2026-05-16T08:00:00Z";
  movie.sound = test::Sound{48000, 2, std::vector<float>(96000)};
  const auto facts = probe_bytes(movie_bytes(movie));
  EXPECT_EQ(facts.frames, 24);
  EXPECT_EQ(facts.frame_rate, Rational(24000, 1001));
  EXPECT_EQ(facts.duration, Micros(1'001'000));
  EXPECT_EQ(facts.width, 64);
  EXPECT_EQ(facts.height, 36);
  EXPECT_EQ(facts.rotation, 0);
  EXPECT_EQ(facts.codec, "h264");
  EXPECT_EQ(facts.bit_depth, 10);
  EXPECT_EQ(facts.audio, true);
  EXPECT_EQ(iso8601(*facts.recorded_at), "2026-05-16T08:00:00Z");
  EXPECT_EQ(facts.gamma, std::nullopt);
  EXPECT_EQ(facts.capture_rate, std::nullopt);
  EXPECT_EQ(facts.timecode, std::nullopt);
  EXPECT_EQ(facts.origin.at("frames"), "container");
  EXPECT_TRUE(facts.problems.empty());
}

// What the index tells is not looked for in the pictures: on a card of large ones that would be most of the work.
TEST(Probe, ReadsOneFrameAtMostWhereTheIndexTellsAll) {
  Movie movie = small_movie();
  movie.format = "mov";
  movie.video_codec = "prores_ks";
  movie.pixels = "yuv422p10le";
  movie.width = 640;
  movie.height = 360;
  movie.frames = 12;
  std::minstd_rand noise;
  movie.paint = [&](float, float, int) {
    const auto grey = static_cast<float>(noise() % 256) / 256;
    return test::Colour{grey, grey, grey};
  };
  movie.sound = test::Sound{48000, 2, std::vector<float>(48000)};
  for (const char* edit_list : {"0", "1"}) {
    movie.options = {{"use_editlist", edit_list}};
    const auto bytes = movie_bytes(movie);
    MemFs fs;
    fs.put("C0001.MP4", bytes);
    test::FaultFs counting(fs);
    ASSERT_TRUE(probe(counting, "C0001.MP4", {}));
    const auto operations = counting.operations();
    const auto reads = std::count_if(operations.begin(), operations.end(),
                                     [](const std::string& each) { return each.starts_with("read "); });
    constexpr std::size_t kAtOnce = 64 * 1024;
    ASSERT_GT(bytes.size(), 20 * kAtOnce);
    EXPECT_GT(reads, 0);
    EXPECT_LE(reads, 8) << bytes.size() / kAtOnce;
  }
}

TEST(Probe, KeepsRatesThatAreAThousandthApartApart) {
  for (const Rational rate : {Rational(24000, 1001), Rational(24, 1), Rational(25, 1), Rational(30000, 1001),
                              Rational(60000, 1001), Rational(120000, 1001), Rational(120, 1), Rational(240000, 1001)})
    for (const char* format : {"mp4", "mov", "matroska"}) {
      Movie movie = small_movie();
      movie.format = format;
      movie.rate = rate;
      movie.frames = 40;
      EXPECT_EQ(probe_bytes(movie_bytes(movie)).frame_rate, rate) << format << " " << to_string(rate);
    }
}

TEST(Probe, TellsEmptyFromIncompleteFromUnreadable) {
  const std::string whole = movie_bytes(small_movie());
  EXPECT_TRUE(has_problem(probe_bytes(""), "empty"));
  EXPECT_TRUE(has_problem(probe_bytes(whole.substr(0, box_at(whole, "moov"))), "incomplete"));
  EXPECT_TRUE(has_problem(probe_bytes(whole.substr(0, box_at(whole, "moov") - 100)), "incomplete"));
  EXPECT_TRUE(has_problem(probe_bytes(std::string(100'000, '\0')), "unreadable"));
  EXPECT_TRUE(has_problem(probe_bytes(whole.substr(0, box_at(whole, "mdat"))), "unreadable"));
  EXPECT_TRUE(has_problem(probe_bytes("Saltmarsh Radio, notes of the day"), "unreadable"));
  EXPECT_TRUE(has_problem(probe_bytes("#EXTM3U\n#EXTINF:1,\n/etc/passwd\n"), "unreadable"));
}

TEST(Probe, SeesThatTheEndIsMissing) {
  Movie movie = small_movie();
  movie.index_first = true;
  std::string bytes = movie_bytes(movie);
  EXPECT_FALSE(has_problem(probe_bytes(bytes), "truncated"));
  bytes.pop_back();
  const auto facts = probe_bytes(bytes);
  EXPECT_TRUE(has_problem(facts, "truncated"));
  EXPECT_EQ(facts.frames, 24);
}

TEST(Probe, SaysWhenThereIsNoPicture) {
  Movie movie;
  movie.video_codec = "";
  movie.sound = test::Sound{48000, 1, std::vector<float>(48000)};
  const auto facts = probe_bytes(movie_bytes(movie));
  EXPECT_TRUE(has_problem(facts, "no_picture"));
  EXPECT_EQ(facts.audio, true);
}

TEST(Probe, ReadsTheTimecodeTrack) {
  Movie movie = small_movie();
  movie.rate = Rational(30000, 1001);
  movie.timecode = "01:23:45;12";
  const auto facts = probe_bytes(movie_bytes(movie));
  EXPECT_EQ(facts.timecode, "01:23:45;12");
  EXPECT_EQ(facts.drop_frame, true);
  movie.rate = Rational(25, 1);
  movie.timecode = "10:00:00:24";
  const auto plain = probe_bytes(movie_bytes(movie));
  EXPECT_EQ(plain.timecode, "10:00:00:24");
  EXPECT_EQ(plain.drop_frame, false);
}

// The display matrix of ISO/IEC 14496-12, 8.3.2 (tkhd): a b u c d v x y w, 16.16 and 2.30 fixed point.
TEST(Probe, TurnsPortraitClipsUpright) {
  const std::string upright = movie_bytes(small_movie());
  const auto matrix = upright.find("tkhd") + 4 + 40;
  const auto put = [](std::string& bytes, std::size_t at, std::uint32_t value) {
    for (int i = 0; i < 4; ++i) bytes[at + i] = static_cast<char>(value >> (24 - 8 * i));
  };
  const std::uint32_t one = 0x10000, minus = 0xFFFF0000;
  struct Turn {
    std::uint32_t a, b, c, d;
    int clockwise;
  };
  for (const auto& [a, b, c, d, clockwise] : {Turn{one, 0, 0, one, 0}, Turn{0, one, minus, 0, 90},
                                              Turn{minus, 0, 0, minus, 180}, Turn{0, minus, one, 0, 270}}) {
    std::string bytes = upright;
    put(bytes, matrix, a);
    put(bytes, matrix + 4, b);
    put(bytes, matrix + 12, c);
    put(bytes, matrix + 16, d);
    const auto facts = probe_bytes(bytes);
    EXPECT_EQ(facts.rotation, clockwise);
    EXPECT_EQ(facts.width, clockwise % 180 == 0 ? 64 : 36) << clockwise;
  }
}

TEST(Probe, SaysWhenTheFrameRateVaries) {
  Movie movie = small_movie();
  movie.frames = 60;
  movie.time = [](int frame) { return std::int64_t{frame} + frame / 7 * 3; };
  const auto facts = probe_bytes(movie_bytes(movie));
  EXPECT_TRUE(has_problem(facts, "variable_rate"));
  EXPECT_EQ(facts.frames, 60);
}

TEST(FactsOf, LooksForTimecodeOnThePictureThenMetadataThenFile) {
  Container container;
  container.format = "mov,mp4";
  Stream video;
  video.type = Stream::Type::video;
  video.rate = Rational(25, 1);
  Stream rtmd;
  rtmd.type = Stream::Type::data;
  rtmd.tag = "rtmd";
  container.streams = {rtmd, video};
  container.main_video = 1;
  container.tags["timecode"] = "03:00:00:00";
  EXPECT_EQ(facts_of(container, "a", 0).timecode, "03:00:00:00");
  container.streams[0].tags["timecode"] = "02:00:00:00";
  EXPECT_EQ(facts_of(container, "a", 0).timecode, "02:00:00:00");
  container.streams[1].tags["timecode"] = "01:00:00:00";
  EXPECT_EQ(facts_of(container, "a", 0).timecode, "01:00:00:00");
  container.streams[1].tags["timecode"] = "01:00:00;00";  // 25 has no drop-frame
  const auto refused = facts_of(container, "a", 0);
  EXPECT_EQ(refused.timecode, std::nullopt);
  EXPECT_TRUE(has_problem(refused, "timecode_invalid"));
}

TEST(FactsOf, PrefersATimeWhoseZoneIsKnown) {
  Container container;
  container.tags["creation_time"] = "2026-05-16T08:00:00.000000Z";
  EXPECT_EQ(iso8601(*facts_of(container, "a", 0).recorded_at), "2026-05-16T08:00:00Z");
  container.tags["com.apple.quicktime.creationdate"] = "2026-05-16T12:00:00+0200";
  EXPECT_EQ(iso8601(*facts_of(container, "a", 0).recorded_at), "2026-05-16T10:00:00Z");
  Container unset;
  unset.tags["creation_time"] = "1970-01-01T00:00:00.000000Z";
  EXPECT_EQ(facts_of(unset, "a", 0).recorded_at, std::nullopt);
}

TEST(FactsOf, SnapsRatesOnlyWhereTheContainerHasNone) {
  Container container;
  container.format = "mpegts";
  Stream video;
  video.type = Stream::Type::video;
  video.rate = Rational(23976, 1000);
  container.streams = {video};
  container.main_video = 0;
  EXPECT_EQ(facts_of(container, "a", 0).frame_rate, Rational(24000, 1001));
  container.format = "mov,mp4,m4a,3gp,3g2,mj2";
  EXPECT_EQ(facts_of(container, "a", 0).frame_rate, Rational(23976, 1000));
}

TEST(Probe, PassesTheDisksErrorOn) {
  MemFs inner;
  inner.put("C0001.MP4", movie_bytes(small_movie()));
  test::FaultFs counting(inner);
  ASSERT_TRUE(probe(counting, "C0001.MP4", {}));
  const auto operations = counting.operations();
  ASSERT_GT(operations.size(), 3U);
  for (const auto& operation : operations) {
    test::FaultFs fs(inner);
    fs.fail_at(operation, Code::gone);
    const auto facts = probe(fs, "C0001.MP4", {});
    ASSERT_TRUE(fs.hit()) << operation;
    ASSERT_FALSE(facts) << operation;
    EXPECT_EQ(facts.error().code, Code::gone) << operation;
  }
}

TEST(Probe, StopsWhenAsked) {
  MemFs fs;
  fs.put("C0001.MP4", movie_bytes(small_movie()));
  std::stop_source stop;
  stop.request_stop();
  EXPECT_EQ(probe(fs, "C0001.MP4", stop.get_token()).error().code, Code::cancelled);
}

TEST(Probe, SurvivesBytesThatAreWrong) {
  Movie movie = small_movie();
  movie.frames = 5;
  movie.sound = test::Sound{48000, 1, std::vector<float>(9600)};
  movie.timecode = "01:00:00:00";
  std::mt19937 dice(7);
  for (const char* format : {"mp4", "matroska", "mpegts", "mxf"}) {
    movie.format = format;
    if (movie.format == "mxf") movie.audio_codec = "pcm_s16le", movie.video_codec = "mpeg2video", movie.rate = {25, 1};
    const std::string whole = movie_bytes(movie);
    const auto moov = whole.find("moov");
    const std::size_t from = moov == std::string::npos ? 0 : moov;
    const std::size_t span =
        moov == std::string::npos ? std::min<std::size_t>(whole.size(), 3000) : whole.size() - from;
    for (int round = 0; round < 150; ++round) {
      std::string bytes = whole;
      for (unsigned hits = 1 + dice() % 8; hits > 0; --hits)
        bytes[from + dice() % span] = static_cast<char>(dice() % 3 == 0 ? 0xFF : dice());
      if (round % 10 == 0) bytes.resize(dice() % bytes.size());
      const auto facts = probe_bytes(bytes);
      if (facts.frame_rate) {
        EXPECT_GT(facts.frame_rate->value(), 0);
      }
      if (facts.width) {
        EXPECT_GT(*facts.width, 0);
      }
    }
  }
}

}  // namespace
}  // namespace everytake
