#include "media/sound/audio.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "support/fault_fs.h"
#include "support/media_movie.h"
#include "support/mem_fs.h"
#include "support/rooms.h"

namespace everytake {
namespace {

using test::MemFs;
using test::Movie;
using test::movie_bytes;
using test::Sound;

constexpr int kRate = 8000;
constexpr double kHz = 440;

Movie small_movie() {
  Movie movie;
  movie.width = 64;
  movie.height = 36;
  return movie;
}

// Silence, then from `at` seconds on a tone of 0.1 s.
Sound beep(double at, double length, int channels = 1, int rate = 48000) {
  Sound sound{rate, channels, {}};
  for (int i = 0; i < static_cast<int>(length * rate); ++i) {
    const double t = static_cast<double>(i) / rate;
    const bool on = t >= at && t < at + 0.1;
    for (int c = 0; c < channels; ++c)
      sound.samples.push_back(on ? static_cast<float>(0.8 * std::sin(2 * M_PI * kHz * (t - at))) : 0.0F);
  }
  return sound;
}

// Where the tone of beep() is loudest in agreement with itself, in seconds.
double heard_at(const std::vector<float>& sound) {
  double best = -1;
  std::size_t where = 0;
  const auto length = static_cast<std::size_t>(0.1 * kRate);
  for (std::size_t i = 0; i + length < sound.size(); ++i) {
    double sum = 0;
    for (std::size_t k = 0; k < length; ++k)
      sum += sound[i + k] * std::sin(2 * M_PI * kHz * static_cast<double>(k) / kRate);
    if (sum > best) {
      best = sum;
      where = i;
    }
  }
  return static_cast<double>(where) / kRate;
}

Result<std::vector<float>> decode(const Movie& movie) {
  MemFs fs;
  fs.put("clip", movie_bytes(movie));
  return decode_mono(fs, "clip", kRate, {});
}

TEST(DecodeMono, PutsSoundWhereThePictureHasIt) {
  Movie movie = small_movie();
  movie.frames = 48;
  movie.sound = beep(1.0, 2.0);
  const auto sound = decode(movie);
  ASSERT_TRUE(sound) << sound.error().what;
  EXPECT_NEAR(heard_at(*sound), 1.0, 0.0005);
  EXPECT_NEAR(static_cast<double>(sound->size()) / kRate, 2.0, 0.03);
}

TEST(DecodeMono, HonoursPrimingAndStartTimesOfEveryContainer) {
  struct Case {
    const char* format;
    const char* audio;
    double delay;
  };
  for (const auto& [format, audio, delay] : {Case{"mp4", "aac", 0},
                                             {"mp4", "aac", 0.5},
                                             {"mov", "pcm_s16le", 0},
                                             {"mov", "pcm_s16le", 0.25},
                                             {"mpegts", "aac", 0},
                                             {"mpegts", "aac", 0.3},
                                             {"matroska", "aac", 0},
                                             {"matroska", "pcm_s16le", 0.4}}) {
    Movie movie = small_movie();
    movie.format = format;
    movie.audio_codec = audio;
    movie.sound = beep(0.7, 1.9);
    movie.sound_delay = delay;
    const auto sound = decode(movie);
    ASSERT_TRUE(sound) << format << sound.error().what;
    EXPECT_NEAR(heard_at(*sound), 0.7 + delay, 0.0015) << format << " " << audio << " " << delay;
  }
}

// A clock that jumps, or a camera left rolling, costs no more memory than the longest song.
TEST(DecodeMono, TakesNoMoreThanHalfAnHour) {
  Movie movie = small_movie();
  movie.format = "matroska";
  movie.audio_codec = "pcm_s16le";
  movie.sound = beep(1.0, 2.0);
  movie.sound_hole = {1.5, 2400};
  const auto sound = decode(movie);
  ASSERT_TRUE(sound) << sound.error().what;
  EXPECT_NEAR(heard_at(*sound), 1.0, 0.0015);
  EXPECT_LT(sound->size(), std::size_t{1800} * kRate + kRate);
}

TEST(DecodeMono, CutsSoundFromBeforeTheFirstPicture) {
  Movie movie = small_movie();
  movie.format = "matroska";
  movie.audio_codec = "pcm_s16le";
  movie.sound = beep(1.0, 2.0);
  movie.time = [](int frame) { return std::int64_t{frame} + 12; };  // the picture begins 12 frames late
  const auto sound = decode(movie);
  ASSERT_TRUE(sound) << sound.error().what;
  EXPECT_NEAR(heard_at(*sound), 1.0 - 12 * 1001 / 24000.0, 0.0015);
}

TEST(DecodeMono, MixesEveryChannelEvenly) {
  Movie movie = small_movie();
  movie.format = "mov";
  movie.audio_codec = "pcm_s16le";
  Sound sound{8000, 4, {}};
  for (int i = 0; i < 8000; ++i)
    for (const float value : {0.8F, 0.0F, 0.0F, 0.4F}) sound.samples.push_back(value);
  movie.sound = sound;
  const auto mono = decode(movie);
  ASSERT_TRUE(mono) << mono.error().what;
  ASSERT_GT(mono->size(), 7000U);
  EXPECT_NEAR((*mono)[4000], 0.3, 0.001);
}

TEST(DecodeMono, FillsAHoleWithSilence) {
  Movie movie = small_movie();
  movie.format = "matroska";
  movie.audio_codec = "pcm_s16le";
  movie.sound = beep(1.5, 2.0);
  movie.sound_hole = std::pair{1.0, 0.75};
  const auto sound = decode(movie);
  ASSERT_TRUE(sound) << sound.error().what;
  EXPECT_NEAR(heard_at(*sound), 2.25, 0.0015);
}

TEST(DecodeMono, PassesTheDisksErrorOn) {
  MemFs inner;
  Movie movie = small_movie();
  movie.sound = beep(0, 2);
  inner.put("clip", movie_bytes(movie));
  test::FaultFs counting(inner);
  ASSERT_TRUE(decode_mono(counting, "clip", kRate, {}));
  for (const auto& operation : counting.operations()) {
    test::FaultFs fs(inner);
    fs.fail_at(operation, Code::gone);
    const auto sound = decode_mono(fs, "clip", kRate, {});
    ASSERT_TRUE(fs.hit()) << operation;
    ASSERT_FALSE(sound) << operation;
    EXPECT_EQ(sound.error().code, Code::gone) << operation;
  }
}

TEST(DecodeMono, TellsNoSoundFromBrokenAndFromABrokenDisk) {
  MemFs fs;
  fs.put("silent", movie_bytes(small_movie()));
  fs.put("noise", std::string(5000, 'x'));
  EXPECT_EQ(decode_mono(fs, "silent", kRate, {}), std::vector<float>{});
  EXPECT_EQ(sound_length(fs, "silent").error().code, Code::invalid);
  EXPECT_EQ(decode_mono(fs, "noise", kRate, {}).error().code, Code::corrupt);
  EXPECT_EQ(decode_mono(fs, "absent", kRate, {}).error().code, Code::not_found);
}

TEST(DecodeMono, StopsWhenAsked) {
  MemFs fs;
  Movie movie = small_movie();
  movie.sound = beep(0, 2);
  fs.put("clip", movie_bytes(movie));
  std::stop_source stop;
  stop.request_stop();
  EXPECT_EQ(decode_mono(fs, "clip", kRate, stop.get_token()).error().code, Code::cancelled);
}

TEST(SoundLength, IsThatOfTheSong) {
  MemFs fs;
  for (const auto& [format, codec] :
       {std::pair{"wav", "pcm_s16le"}, {"flac", "flac"}, {"mp3", "libmp3lame"}, {"adts", "aac"}, {"mp4", "aac"}}) {
    Movie song;
    song.format = format;
    song.audio_codec = codec;
    song.video_codec = "";
    song.sound = beep(1, 12.5);
    fs.put("song", movie_bytes(song));
    const auto length = sound_length(fs, "song");
    ASSERT_TRUE(length) << format << length.error().what;
    EXPECT_NEAR(seconds(*length), 12.5, 0.05) << format;
    const auto sound = decode_mono(fs, "song", kRate, {});
    ASSERT_TRUE(sound) << format;
    EXPECT_NEAR(static_cast<double>(sound->size()) / kRate, 12.5, 0.05) << format;
  }
}

}  // namespace
}  // namespace everytake
