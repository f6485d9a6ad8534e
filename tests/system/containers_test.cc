// Recordings as other cameras and programs write them, judged by a general-purpose reader: ffprobe.
#include <gtest/gtest.h>

#include <algorithm>

#include "base/text.h"
#include "media/facts.h"
#include "media/probe.h"
#include "os/posix_fs.h"
#include "support/ffprobe.h"
#include "support/rooms.h"
#include "support/shell.h"
#include "support/temp_dir.h"

namespace everytake {
namespace {

using test::expect_ffprobe_agrees;
using test::get_file;
using test::put_file;
using test::quoted;
using test::shell;

using Codes = std::vector<std::string>;

class Containers : public testing::Test {
 protected:
  // A recording of ten seconds at 25 frames a second, 320 x 180, with a tone, by ffmpeg's `options`.
  Path made(const std::string& name, const std::string& options) const {
    return ffmpeg(
        name,
        "-f lavfi -i testsrc2=size=320x180:rate=25:duration=10 -f lavfi -i sine=duration=10:sample_rate=48000 "
        "-threads 1 " +
            options);
  }
  Path ffmpeg(const std::string& name, const std::string& arguments) const {
    const Path file = folder_ / name;
    const auto ran = shell("ffmpeg -nostdin -v error -y " + arguments + " " + quoted(file));
    EXPECT_EQ(ran.exit, 0) << ran.err;
    return file;
  }
  static ClipFacts facts(const Path& file) {
    const auto fs = PosixFs::open_at(file.parent_path());
    const auto read = probe(**fs, file.filename(), {});
    EXPECT_TRUE(read) << read.error().what;
    return read.value_or(ClipFacts{});
  }
  static Codes codes(const ClipFacts& facts) {
    Codes codes;
    for (const auto& problem : facts.problems) codes.push_back(to_string(problem.code));
    return codes;
  }
  // `file` without its last `share`.
  Path cut(const Path& file, double share) const {
    const auto bytes = get_file(file);
    const Path to = folder_ / ("cut-" + file.filename().string());
    put_file(to, bytes.substr(0, static_cast<std::size_t>(static_cast<double>(bytes.size()) * (1 - share))));
    return to;
  }

  const test::TempDir folder_;
};

TEST_F(Containers, AreReadAsFfprobeReadsThem) {
  const std::pair<const char*, const char*> kinds[] = {
      {"intra.mxf", "-c:v mpeg2video -pix_fmt yuv422p -g 1 -q:v 3 -c:a pcm_s16le -timecode 10:00:00:00"},
      {"long.mxf", "-c:v libx264 -pix_fmt yuv422p10le -c:a pcm_s24le -timecode 23:59:59:24"},
      {"00001.MTS", "-c:v libx264 -pix_fmt yuv420p -c:a ac3 -f mpegts -mpegts_m2ts_mode 1"},
      {"fragments.mp4", "-c:v libx264 -pix_fmt yuv420p -g 25 -c:a aac -movflags frag_keyframe+empty_moov"},
      {"fragments-too.mp4",  // of which the first one's index stands where that of a whole file does
       "-c:v libx264 -pix_fmt yuv420p -bf 0 -g 25 -c:a aac -movflags frag_keyframe -use_editlist 1"},
      {"index.mp4", "-c:v libx265 -x265-params log-level=error:pools=none -pix_fmt yuv420p10le -c:a aac"},
      {"master.mov", "-c:v prores_ks -profile:v 3 -c:a pcm_s24le -timecode 01:00:00:00"},
      {"twelve.mkv", "-c:v libx264 -pix_fmt yuv422p10le -c:a flac"},
      {"old.avi", "-c:v mpeg4 -c:a mp3"},
      {"silent.mp4", "-map 0:v -c:v libx264 -pix_fmt yuv420p"},
  };
  for (const auto& [name, options] : kinds) {
    const auto file = made(name, options);
    const auto found = facts(file);
    expect_ffprobe_agrees(found, file);
    EXPECT_EQ(codes(found), Codes{}) << name;
  }
}

// A telephone that slows a part down, or trims in place, writes a list of what is to be played. All frames are there.
TEST_F(Containers, TellFramesAndPlayedLengthApartWhereAnEditListTrims) {
  const auto whole = made("whole.mp4", "-c:v libx264 -pix_fmt yuv420p -g 250 -c:a aac");
  const auto file = ffmpeg("trimmed.mp4", "-ss 1.32 -i " + quoted(whole) + " -c copy");
  const auto found = facts(file);
  expect_ffprobe_agrees(found, file);
  EXPECT_EQ(found.frames, 250);
  EXPECT_NEAR(seconds(*found.duration), 8.68, 0.05);
  EXPECT_EQ(found.frame_rate, Rational(25, 1));
}

// What the container does not tell is in the stream itself (ITU-T H.264, annex E), at the head of its first frame.
TEST_F(Containers, HaveSamplesAndColoursThatOnlyTheStreamTells) {
  for (const std::string frames : {"", ":slices=4", ":aud=1", ":keyint=1"}) {
    const auto plain = made("plain.mp4", "-t 1 -c:v libx264 -pix_fmt yuv422p10le -an -x264-params threads=1" + frames);
    const auto file = ffmpeg("told.mp4", "-i " + quoted(plain) +
                                             " -c copy -bsf:v h264_metadata=transfer_characteristics=16:"
                                             "colour_primaries=9:matrix_coefficients=9:video_full_range_flag=1");
    expect_ffprobe_agrees(facts(file), file);
    const auto fs = PosixFs::open_at(file.parent_path());
    const auto found = read_facts(**fs, "", {"told", {{file.filename(), FileRole::video}}}, {}, {});
    ASSERT_TRUE(found) << found.error().what;
    EXPECT_EQ(found->bit_depth, 10) << frames;
    EXPECT_EQ(found->gamma, "pq") << frames;
  }
}

TEST_F(Containers, AreCutByTheirLargestPicture) {
  const auto file = made("two.mp4",
                         "-map 0:v -map 0:v -map 1:a -s:v:0 160x90 -c:v libx264 -pix_fmt yuv420p -r:v:0 50 "
                         "-disposition:v:0 default -c:a aac");
  const auto found = facts(file);
  expect_ffprobe_agrees(found, file);
  EXPECT_EQ(found.width, 320);
  EXPECT_EQ(found.frame_rate, Rational(25, 1));
}

TEST_F(Containers, HaveCoversThatAreNoPictureOfTheClip) {
  const auto cover = ffmpeg("cover.png", "-f lavfi -i testsrc2=size=1280x720 -frames:v 1");
  const auto file = made("covered.mp4", "-i " + quoted(cover) +
                                            " -map 2:v -map 0:v -map 1:a -c:v:0 png -disposition:v:0 attached_pic "
                                            "-c:v:1 libx264 -pix_fmt:v:1 yuv420p -c:a aac");
  const auto found = facts(file);
  expect_ffprobe_agrees(found, file);
  EXPECT_EQ(found.width, 320);
  EXPECT_EQ(found.codec, "h264");
}

TEST_F(Containers, ThatHoldACoverAndSoundAloneHaveNoPicture) {
  const auto cover = ffmpeg("cover.png", "-f lavfi -i testsrc2=size=64x64 -frames:v 1");
  const auto file = ffmpeg("song.m4a", "-f lavfi -i sine=duration=2 -i " + quoted(cover) +
                                           " -map 1:v -map 0:a -c:v png -disposition:v:0 attached_pic -c:a aac -f mp4");
  EXPECT_EQ(codes(facts(file)), Codes{"no_picture"});
}

TEST_F(Containers, SayWhereFramesAreNotEvenlyApart) {
  const auto file =
      made("uneven.mp4", "-vf \"select='not(eq(mod(n,7),3))'\" -vsync vfr -c:v libx264 -pix_fmt yuv420p -c:a aac");
  const auto found = facts(file);
  expect_ffprobe_agrees(found, file);
  EXPECT_EQ(codes(found), Codes{"variable_rate"});
}

TEST_F(Containers, AreShownAsTheyWereHeld) {
  const auto upright = made("upright.mp4", "-c:v libx264 -pix_fmt yuv420p -c:a aac");
  for (const char* turn : {"90", "180", "270"}) {
    const auto file =
        ffmpeg("turned.mp4", "-i " + quoted(upright) + " -c copy -metadata:s:v rotate=" + std::string(turn));
    const auto found = facts(file);
    expect_ffprobe_agrees(found, file);
    EXPECT_EQ(*found.rotation % 180 == 90, *found.width == 180) << turn;
    EXPECT_NE(found.rotation, 0);
  }
}

TEST_F(Containers, KeepDropFrameLabels) {
  const auto file = ffmpeg("drop.mov",
                           "-f lavfi -i testsrc2=size=64x36:rate=30000/1001:duration=1 -c:v mpeg4 "
                           "-timecode '00:09:59;29'");
  EXPECT_EQ(facts(file).drop_frame, true);
  expect_ffprobe_agrees(facts(file), file);
}

// SMPTE ST 377-1: the header says where the footer lies; an open one is closed when the recording ends.
TEST_F(Containers, ShowWhetherAnMxfFileIsWhole) {
  const auto file = made("whole.mxf", "-c:v mpeg2video -c:a pcm_s16le");
  EXPECT_EQ(codes(facts(file)), Codes{});
  for (const double share : {0.001, 0.1, 0.6}) EXPECT_EQ(codes(facts(cut(file, share))), Codes{"truncated"}) << share;
  // The header as it stands before the recording's end: byte 14 of its key says open, and where the footer is isn't.
  auto bytes = get_file(cut(file, 0.3));
  bytes[14] = 1;
  const std::size_t footer_field = 16 + 4 + 24;  // key, length of four bytes, five fields
  bytes.replace(footer_field, 8, 8, '\0');
  put_file(folder_ / "open.mxf", bytes);
  EXPECT_EQ(codes(facts(folder_ / "open.mxf")), Codes{"truncated"});  // what there is of it can be read
  // A footer that counts no metadata and no index, and the file breaks off within the fill item behind it.
  bytes = get_file(file);
  const auto number = [&bytes](std::size_t at, int length) {
    std::size_t value = 0;
    for (int i = 0; i < length; ++i) value = value << 8 | static_cast<unsigned char>(bytes[at + i]);
    return value;
  };
  const std::size_t value = number(footer_field, 8) + 16 + 4, fill = value + number(value - 3, 3);
  ASSERT_EQ(bytes.substr(fill, 7), std::string("\x06\x0E\x2B\x34\x01\x01\x01", 7));
  bytes.replace(value + 32, 16, 16, '\0');
  for (const std::size_t left : {0, 15, 30}) {
    put_file(folder_ / "cut.mxf", bytes.substr(0, fill + left));
    EXPECT_EQ(codes(facts(folder_ / "cut.mxf")), left == 0 ? Codes{} : Codes{"truncated"}) << left;
  }
}

}  // namespace
}  // namespace everytake
