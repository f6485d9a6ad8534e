// The parts of placing, each against a direct computation.
#include <gtest/gtest.h>

#include <cmath>
#include <complex>

#include "align/coarse.h"
#include "align/fft.h"
#include "align/fine.h"
#include "align/repeats.h"
#include "align/resample.h"
#include "support/capture.h"
#include "support/made_song.h"
#include "support/rooms.h"

namespace everytake {
namespace {

using test::Random;

std::vector<float> noise(std::size_t size, unsigned seed) {
  Random random(seed);
  std::vector<float> sound(size);
  for (float& v : sound) v = static_cast<float>(0.2 * random.normal());
  return sound;
}

TEST(Fft, IsTheSumThatDefinesIt) {
  for (const std::size_t length : {2U, 48U, 1000U}) {
    RealFft fft(length);
    const auto sound = noise(length, 3);
    std::copy(sound.begin(), sound.end(), fft.time().begin());
    fft.forward();
    const std::vector<Bin> bins(fft.spectrum().begin(), fft.spectrum().end());
    for (std::size_t k = 0; k < bins.size(); ++k) {
      std::complex<double> sum = 0;
      for (std::size_t n = 0; n < length; ++n)
        sum += static_cast<double>(sound[n]) *
               std::polar(1.0, -2 * M_PI * static_cast<double>(k * n % length) / static_cast<double>(length));
      EXPECT_NEAR(bins[k].real(), sum.real(), 1e-4);
      EXPECT_NEAR(bins[k].imag(), sum.imag(), 1e-4);
    }
    fft.inverse();
    for (std::size_t n = 0; n < length; ++n) EXPECT_NEAR(fft.time()[n] / static_cast<float>(length), sound[n], 1e-5);
  }
}

TEST(Coarse, CorrelatesAsTheDirectSumDoes) {
  const SongIndex song(noise(40 * kAlignRate, 1));
  const auto clip = features(noise(6 * kAlignRate, 2));
  const int from = 20, count = 150;
  const auto fast = correlate(song, clip, from, count);
  const int frames = song.features().frames;
  ASSERT_EQ(fast.size(), static_cast<std::size_t>(frames + count - 1));
  for (int at = -count + 1; at < frames; at += 37) {
    double sum = 0;
    for (int b = 0; b < kBands; ++b)
      for (int i = 0; i < count; ++i)
        if (at + i >= 0 && at + i < frames)
          sum += static_cast<double>(clip.band(b)[static_cast<std::size_t>(from + i)]) *
                 song.features().band(b)[static_cast<std::size_t>(at + i)];
    EXPECT_NEAR(fast[static_cast<std::size_t>(at + count - 1)], sum, 0.02) << at;
  }
}

TEST(Coarse, CountsTheSongsEnergyAsTheDirectSumDoes) {
  const SongIndex song(noise(8 * kAlignRate, 1));
  double sum = 0;
  for (int b = 0; b < kBands; ++b)
    for (std::size_t f = 10; f < 60; ++f) sum += std::pow(song.features().band(b)[f], 2);
  EXPECT_NEAR(song.energy(10, 60), sum, 1e-6 * sum);
  EXPECT_EQ(song.energy(-50, 0), 0);
}

TEST(Resample, KeepsATonesTimeAndMovesItsPitch) {
  std::vector<float> tone(kAlignRate);
  for (std::size_t i = 0; i < tone.size(); ++i)
    tone[i] = static_cast<float>(std::sin(2 * M_PI * 1000 * static_cast<double>(i) / kAlignRate));
  for (const double speed : {0.8, 1.25, 2.0}) {
    const auto slow = slowed_down(tone, speed);
    ASSERT_EQ(slow.size(), static_cast<std::size_t>(kAlignRate * speed));
    for (std::size_t i = 100; i + 100 < slow.size(); i += 7)
      EXPECT_NEAR(slow[i], std::sin(2 * M_PI * 1000 / speed * static_cast<double>(i) / kAlignRate), 2e-3) << speed;
  }
}

// A clip of white noise that begins at an exact sample of a song of white noise, or between two.
TEST(Fine, FindsADelayBetweenSamples) {
  const auto fine = noise(4 * 30 * kAlignRate, 9);
  const auto low = slowed_down(fine, 0.25);  // four samples to one: the song
  const std::vector<float> later(fine.begin() + 4 * 40001 + 1, fine.begin() + 4 * 40001 + 1 + 4 * 10 * kAlignRate);
  const auto clip = slowed_down(later, 0.25);
  const SongIndex song(low);
  Windows windows(clip);
  const auto line = search_line(song, windows, 40000 + 60, 0, static_cast<int>(clip.size()), 16);
  ASSERT_TRUE(line);
  const auto refined = refine_line(song, windows, *line);
  EXPECT_NEAR(refined.start, 40001.25, 0.1);
  EXPECT_NEAR(refined.drift, 0, 1e-6);
  EXPECT_GT(line->score, 50);
}

// Against the whole transform: at every lag up to its reach the same but for what its groups lose there.
TEST(ShortLags, AgreeWithTheWholeTransform) {
  RealFft fft(kWindow);
  const auto sound = noise(2 * kWindow, 4);
  const auto a = *spectrum_at(sound, 5000, fft);
  for (const std::size_t group : {std::size_t{1}, std::size_t{4}, std::size_t{8}}) {
    ShortLags lags(group);
    for (const int delay : {0, 3, -3, lags.reach() / 2, -lags.reach() / 2, lags.reach(), -lags.reach()}) {
      const auto b = *spectrum_at(sound, 5000 + delay, fft);
      std::size_t k = 0;
      double all = 0;
      for (Bin& common : lags.clear())
        for (const std::size_t end = std::min(k + group, a.size()); k < end; ++k) {
          common += against(b[k], a[k]);
          all += 2 * size_of(against(b[k], a[k]));
        }
      lags.correlate();
      int top = 0;
      for (int lag = -lags.reach(); lag <= lags.reach(); ++lag)
        if (lags.at(lag) > lags.at(top)) top = lag;
      EXPECT_EQ(top, delay) << group;
      // Two windows that far apart have that much less in common: the Hann window with itself.
      EXPECT_GT(lags.at(top), (std::abs(delay) < 1000 ? 0.88 : 0.6) * all) << group << " " << delay;
    }
  }
}

TEST(Repeats, CannotTellCopiesApartAndCanTellTheRest) {
  const auto made = test::make_song_of(5, 51);
  const SongIndex song(slowed_down(made.sound, 0.5));
  const auto& parts = made.parts;  // i v c v c b c i
  ASSERT_EQ(parts[2].name, 'c');
  test::Capture how;
  how.start = parts[2].start + 1;
  how.length = 8;
  const auto clip = slowed_down(test::captured(made.sound, how), 0.5);
  Windows windows(clip);
  const auto line_at = [&](double start) {
    return refine_line(song, windows,
                       *search_line(song, windows, start * kAlignRate, 0, static_cast<int>(clip.size()), 8));
  };
  const Line here = line_at(how.start), copy = line_at(how.start + parts[4].start - parts[2].start);
  const Line bar_later = line_at(how.start + made.bar);
  EXPECT_LT(std::abs(Contest(song, windows, here).against(copy, 4.5)), 3);
  EXPECT_GT(Contest(song, windows, here).against(bar_later, 4.5), 4.5);
  EXPECT_LT(Contest(song, windows, bar_later).against(here, 4.5), -4.5);
}

// Of a small speaker in a large hall far more echo is heard than straight sound.
TEST(Repeats, AreToldApartByEchoesToo) {
  const auto made = test::make_song_of(5, 51);
  const SongIndex song(slowed_down(made.sound, 0.5));
  test::Capture how;
  how.start = made.parts[1].start + 1;
  how.length = 12;
  how.decay = 1.5;
  how.direct = 0.3;
  how.noise_db = 5;
  const auto clip = slowed_down(test::captured(made.sound, how), 0.5);
  Windows windows(clip);
  const auto line_at = [&](double start) {
    return *search_line(song, windows, start * kAlignRate, 0, static_cast<int>(clip.size()), 8);
  };
  // The drums are the same a bar later, the tune is not.
  EXPECT_GT(Contest(song, windows, line_at(how.start)).against(line_at(how.start + made.bar), 4.5), 10);
}

}  // namespace
}  // namespace everytake
