#include "media/checks.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <functional>

#include "media/sound/audio.h"
#include "media/sound/levels.h"
#include "support/media_movie.h"
#include "support/media_song.h"
#include "support/mem_fs.h"
#include "support/rooms.h"

namespace everytake {
namespace {

using namespace std::chrono_literals;
using namespace test;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;

const Rational kFilm(24000, 1001);

Plan plan(std::optional<std::string> gamma = "s-log3") {
  Plan plan;
  plan.frame_rate = kFilm;
  plan.gamma = std::move(gamma);
  return plan;
}

// As it should be: of camera L-1, in real time, with sound.
Clip good() {
  Clip clip;
  clip.roll = "R001";
  clip.path = "CLIP/C0007.MP4";
  auto& facts = clip.facts;
  facts.duration = 10s;
  facts.frames = 240;
  facts.frame_rate = facts.capture_rate = kFilm;
  facts.width = 3840;
  facts.height = 2160;
  facts.gamma = "s-log3-cine";
  facts.camera = "L-1";
  facts.audio = true;
  facts.levels = {960'000, -9, 0};
  facts.frames_seen = {5, 1};
  return clip;
}

using Change = std::function<void(ClipFacts&)>;
Clip changed(const Change& change) {
  auto clip = good();
  change(clip.facts);
  return clip;
}

// What is wrong with the clip among `neighbours` that are as they should be but for `all_change`.
std::vector<std::string> codes(
    const Change& change, std::size_t neighbours = 4, const Plan& the_plan = plan(),
    const Change& all_change = [](ClipFacts&) {}) {
  std::vector<Clip> clips(neighbours, changed(all_change));
  clips.push_back(changed(change));
  std::vector<std::string> codes;
  for (const auto& wrong : checks_of(clips.back(), clips, the_plan)) codes.push_back(to_string(wrong.code));
  return codes;
}
using Codes = std::vector<std::string>;

void no_change(ClipFacts&) {}
Change with_gamma(std::optional<std::string> gamma) {
  return [gamma](ClipFacts& facts) { facts.gamma = gamma; };
}
Change with_rates(Rational file, std::optional<Rational> capture) {
  return [=](ClipFacts& facts) {
    facts.frame_rate = file;
    facts.capture_rate = capture;
  };
}
Change with_size(int width, int height) {
  return [=](ClipFacts& facts) {
    facts.width = width;
    facts.height = height;
  };
}

TEST(Checks, AreNoneInAClipThatIsAsItShouldBe) {
  EXPECT_THAT(codes(no_change), IsEmpty());
  EXPECT_THAT(codes(no_change, 0), IsEmpty());
  EXPECT_THAT(codes([](ClipFacts& facts) { facts = {}; }), IsEmpty());  // what is unknown is no wrong
}

TEST(Checks, CallAGammaOtherThanThePlans) {
  const std::pair<std::optional<std::string>, Codes> rows[] = {{"s-log3", {}},
                                                               {"S-Log3-Cine", {}},
                                                               {std::nullopt, {}},
                                                               {"rec709", {"other_gamma"}},
                                                               {"s-log2", {"other_gamma"}},
                                                               {"some-new-log", {"other_gamma"}}};
  for (const auto& [gamma, expected] : rows) EXPECT_EQ(codes(with_gamma(gamma)), expected) << gamma.value_or("none");
  EXPECT_THAT(codes(with_gamma("rec2100-hlg"), 4, plan("hlg")), IsEmpty());  // two names of one curve
  EXPECT_THAT(codes(with_gamma("v-log-l"), 4, plan("V-Log")), IsEmpty());
  EXPECT_THAT(codes(with_gamma("s-log3"), 4, plan("s-log3-cine")), ElementsAre("other_gamma"));  // another gamut
  const auto by_plan = [](ClipFacts& facts) {
    facts.gamma = "n-log";
    facts.origin["gamma"] = "plan";  // of this camera, in its [[camera]]
  };
  EXPECT_THAT(codes(by_plan), IsEmpty());
}

TEST(Checks, CallAGammaOtherThanNearlyAllItsNeighboursWhereThePlanHasNone) {
  const auto none = plan(std::nullopt);
  EXPECT_THAT(codes(with_gamma("rec709"), 3, none), ElementsAre("other_gamma"));
  EXPECT_THAT(codes(with_gamma("rec709"), 2, none), IsEmpty());  // too few to make a habit
  EXPECT_THAT(codes(with_gamma("rec709"), 4, none, with_gamma(std::nullopt)), IsEmpty());
  std::vector<Clip> clips(5, good());
  clips[0].facts.gamma = clips[1].facts.gamma = "rec709";
  EXPECT_THAT(checks_of(clips[0], clips, none), IsEmpty());  // three of four are no clear majority
  clips.resize(9, good());
  EXPECT_EQ(checks_of(clips[0], clips, none).size(), 1U);
  for (std::size_t i = 2; i < clips.size(); ++i) clips[i].facts.camera = "L-2";
  EXPECT_THAT(checks_of(clips[0], clips, none), IsEmpty());  // another camera is no neighbour
  for (auto& clip : clips) clip.facts.camera.reset();
  EXPECT_EQ(checks_of(clips[0], clips, none).size(), 1U);  // of one roll
  for (std::size_t i = 2; i < clips.size(); ++i) clips[i].roll = "R002";
  EXPECT_THAT(checks_of(clips[0], clips, none), IsEmpty());
}

TEST(Checks, CallARateOtherThanTheEditsUnlessItIsSlowMotion) {
  struct Row {
    Rational file;
    std::optional<Rational> capture;
    Codes codes;
  };
  const Rational fast(120000, 1001);
  const Row rows[] = {{{25, 1}, Rational(25, 1), {"other_rate"}},
                      {{24, 1}, std::nullopt, {"other_rate"}},  // a thousandth off drifts a frame in 42 s
                      {{30000, 1001}, std::nullopt, {"other_rate"}},
                      {{30000, 1001}, fast, {}},     // recorded slow
                      {fast, fast, {}},              // recorded fast, in real time
                      {{50, 1}, std::nullopt, {}},   // 1.5 times the edit's rate and more
                      {kFilm, Rational(12, 1), {}},  // quick
                      {{25, 1}, Rational(12, 1), {"other_rate"}}};
  for (const auto& row : rows) EXPECT_EQ(codes(with_rates(row.file, row.capture)), row.codes) << to_string(row.file);
  const auto varies = [](ClipFacts& facts) {
    facts.frame_rate = Rational(103, 4);
    facts.capture_rate.reset();
    facts.problems = {{ProblemCode::variable_rate, "", "", ""}};
  };
  EXPECT_THAT(codes(varies), IsEmpty());  // said already
}

TEST(Checks, CallASizeOtherThanNearlyAllNeighboursOfItsRate) {
  EXPECT_THAT(codes(with_size(1920, 1080)), ElementsAre("other_size"));
  EXPECT_THAT(codes(with_size(2160, 3840)), IsEmpty());  // turned
  EXPECT_THAT(codes(with_size(1920, 1080), 2), IsEmpty());
  const auto fast_and_small = [](ClipFacts& facts) {
    with_size(1920, 1080)(facts);
    with_rates({120, 1}, std::nullopt)(facts);
  };
  EXPECT_THAT(codes(fast_and_small), IsEmpty());  // high rates may have smaller pictures
}

TEST(Checks, CallAClipShortThatIsShortOnTheTimelineToo) {
  const auto lasting = [](Micros length, std::optional<std::int64_t> frames) {
    return [=](ClipFacts& facts) {
      facts.duration = length;
      facts.frames = frames;
    };
  };
  EXPECT_THAT(codes(lasting(999ms, 23)), ElementsAre("too_short"));
  EXPECT_THAT(codes(lasting(999ms, std::nullopt)), ElementsAre("too_short"));
  EXPECT_THAT(codes(lasting(1s, 24)), IsEmpty());
  EXPECT_THAT(codes(lasting(500ms, 60)), IsEmpty());  // at 120 frames a second: 2.5 s of slow motion
}

TEST(Checks, CallAPictureBlackOnlyWhereAllOfItIs) {
  const auto seen = [](FramesSeen frames) { return [=](ClipFacts& facts) { facts.frames_seen = frames; }; };
  EXPECT_THAT(codes(seen({5, 5})), ElementsAre("black_picture"));
  EXPECT_THAT(codes(seen({5, 4})), IsEmpty());
  EXPECT_THAT(codes(seen({0, 0})), ElementsAre("no_frames"));
  EXPECT_THAT(codes([](ClipFacts& facts) { facts.frames_seen.reset(); }), IsEmpty());
  const auto sound_only = [](ClipFacts& facts) {
    facts.frames_seen = FramesSeen{};
    facts.width.reset();  // and no_picture is said, or why it can't be read
  };
  EXPECT_THAT(codes(sound_only), IsEmpty());
}

void without_sound(ClipFacts& facts) {
  facts.audio = false;
  facts.levels = {0, -200, 0};
}

TEST(Checks, MissSoundOnlyWhereTheCameraCouldHaveRecordedIt) {
  EXPECT_THAT(codes(without_sound), ElementsAre("no_sound"));
  EXPECT_THAT(codes(without_sound, 0), ElementsAre("no_sound"));                         // the first clip of the day
  EXPECT_THAT(codes(without_sound, 9, plan(), without_sound), ElementsAre("no_sound"));  // and nothing else has any
  for (const auto& [file, capture] : {std::pair(kFilm, Rational(120, 1)), std::pair(kFilm, Rational(12, 1)),
                                      std::pair(Rational(120, 1), Rational(120, 1))})
    EXPECT_THAT(codes([&, f = file, c = capture](ClipFacts& facts) {
                  without_sound(facts);
                  with_rates(f, c)(facts);
                }),
                IsEmpty())
        << to_string(file);
}

TEST(Checks, MissNoSoundOfACameraThatNeverHasAnyBesideOneThatHas) {
  std::vector<Clip> clips(3, changed(without_sound));
  clips.resize(5, good());
  for (std::size_t i = 3; i < 5; ++i) clips[i].facts.camera = "L-2";
  EXPECT_THAT(checks_of(clips[0], clips, plan()), IsEmpty());
  clips[1].facts.audio = true;
  clips[1].facts.levels = {96'000, -90, 0};  // a silent track is no sound either
  EXPECT_THAT(checks_of(clips[0], clips, plan()), IsEmpty());
  EXPECT_THAT(checks_of(clips[1], clips, plan()), IsEmpty());
  clips[1].facts.levels = {96'000, -30, 0};
  EXPECT_EQ(checks_of(clips[0], clips, plan()).front().code, ProblemCode::no_sound);
}

TEST(Checks, CallSoundSilentClippedOrUnreadableByItsLevels) {
  const auto with = [](SoundLevels levels) { return [=](ClipFacts& facts) { facts.levels = levels; }; };
  EXPECT_THAT(codes(with({96'000, -70.1, 0})), ElementsAre("silent_sound"));
  EXPECT_THAT(codes(with({96'000, -69.9, 0})), IsEmpty());
  EXPECT_THAT(codes(with({96'000, 0, 0.0011})), ElementsAre("clipped_sound"));
  EXPECT_THAT(codes(with({96'000, 0, 0.0009})), IsEmpty());
  EXPECT_THAT(codes(with({0, -200, 0})), ElementsAre("sound_unreadable"));
  EXPECT_THAT(codes([](ClipFacts& facts) { facts.levels.reset(); }), IsEmpty());
  EXPECT_THAT(codes([](ClipFacts& facts) {
                facts.levels = {96'000, -90, 0};
                with_rates({120, 1}, std::nullopt)(facts);
              }),
              IsEmpty());
}

TEST(Checks, NameTheClipAndSayWhatToDo) {
  std::vector<Clip> clips(4, good());
  clips[0].facts.gamma = "rec709";
  clips[0].facts.problems = {{ProblemCode::truncated, "", "", "cut"}};
  add_checks(clips, plan());
  ASSERT_EQ(clips[0].facts.problems.size(), 2U);
  EXPECT_EQ(clips[0].facts.problems[1].path, "CLIP/C0007.MP4");
  EXPECT_EQ(clips[0].facts.problems[1].message,
            "C0007.MP4 is shot in rec709, the plan wants s-log3: set the camera to it and shoot this again");
  EXPECT_THAT(clips[1].facts.problems, IsEmpty());
}

SoundLevels levels_of(const std::vector<float>& samples) {
  LevelMeter meter;
  for (const float sample : samples) meter.add(0, sample);
  return meter.levels();
}

TEST(LevelMeter, CountsRunsOfThreeAtFullScaleAsClipped) {
  EXPECT_EQ(levels_of({}), (SoundLevels{0, -200, 0}));
  EXPECT_EQ(levels_of({0, 0}), (SoundLevels{2, -200, 0}));
  EXPECT_NEAR(levels_of({0, 0.5F, -0.25F}).peak_db, -6.0206, 1e-4);
  EXPECT_EQ(levels_of({1, 1, 0, 1}).clipped, 0);
  EXPECT_EQ(levels_of({1, 1, -1, 0}).clipped, 0.75);  // overs of both signs follow each other in square waves
  EXPECT_EQ(levels_of({1, 1, 1, 1, 0, 0, 0, 0}).clipped, 0.5);
  LevelMeter two;  // channels are looked at each by itself
  for (int i = 0; i < 4; ++i) two.add(0, 1), two.add(1, 0);
  EXPECT_EQ(two.levels().clipped, 0.5);
}

TEST(LevelMeter, AddsUpOverTheFilesOfASpan) {
  const SoundLevels a{100, -20, 0.5}, b{300, -6, 0.1};
  EXPECT_EQ(joined(a, b), (SoundLevels{400, -6, 0.2}));
  EXPECT_EQ(joined(a, {0, -200, 0}), a);
  EXPECT_EQ(joined({0, -200, 0}, b), b);
}

// What a microphone hears of the song, with the recording level turned up so far.
SoundLevels recorded(float gain, const std::string& codec, const std::string& format) {
  Movie movie;
  movie.format = format;
  movie.audio_codec = codec;
  movie.video_codec = "";
  static const auto song = make_song();
  movie.sound = heard_in_a_room(song, 20, 4, 7);
  float peak = 0;
  for (const float sample : movie.sound->samples) peak = std::max(peak, std::abs(sample));
  for (auto& sample : movie.sound->samples) sample = std::clamp(sample * gain / peak, -1.0F, 1.0F);
  MemFs fs;
  fs.put("C0001", movie_bytes(movie));
  LevelMeter meter;
  EXPECT_TRUE(decode_mono(fs, "C0001", 8000, {}, &meter));
  return meter.levels();
}

TEST(LevelMeter, TellsAnOverloadedRecordingFromALoudOneInEveryCodec) {
  for (const auto& [codec, format] : {std::pair("aac", "mp4"), {"pcm_s16le", "mov"}, {"pcm_s24le", "mov"}}) {
    EXPECT_GT(recorded(8, codec, format).clipped, 0.01) << codec;
    EXPECT_LT(recorded(0.95F, codec, format).clipped, 0.0001) << codec;
    EXPECT_NEAR(recorded(0.5F, codec, format).peak_db, -6.02, 0.5) << codec;
    EXPECT_LT(recorded(0, codec, format).peak_db, -100) << codec;
  }
}

}  // namespace
}  // namespace everytake
