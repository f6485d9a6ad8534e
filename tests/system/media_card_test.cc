// The card that make_card makes, judged by a general-purpose reader: ffprobe.
#include <gtest/gtest.h>

#include <memory>

#include "base/text.h"
#include "media/metadata/sidecar.h"
#include "media/probe.h"
#include "media/sound/audio.h"
#include "os/posix_fs.h"
#include "support/ffprobe.h"
#include "support/media_card.h"
#include "support/rooms.h"
#include "support/temp_dir.h"

namespace everytake {
namespace {

const Path kClips = "PRIVATE/M4ROOT/CLIP";

// One card for every claim about it: making it takes seconds.
struct Card {
  test::TempDir folder;
  std::unique_ptr<PosixFs> fs;

  Card() {
    test::make_card(folder.path(), test::card_clips());
    fs = *PosixFs::open_at(folder.path());
  }
  static Path video(const test::CardClip& clip) { return kClips / (clip.name() + ".MP4"); }
  static Path sidecar(const test::CardClip& clip) { return kClips / (clip.name() + "M01.XML"); }
};

void expect_container_agrees(const Card& card, const test::CardClip& clip) {
  const auto facts = probe(*card.fs, Card::video(clip), {});
  ASSERT_TRUE(facts) << facts.error().what;
  test::expect_ffprobe_agrees(*facts, card.folder / Card::video(clip).string());
  const bool cut = facts->problems.size() == 1 && facts->problems[0].code == ProblemCode::truncated;
  EXPECT_EQ(cut, clip.cut);
  EXPECT_EQ(facts->problems.size(), clip.cut ? 1U : 0U);
}

void expect_sidecar_agrees(const Card& card, const test::CardClip& clip) {
  auto facts = *probe(*card.fs, Card::video(clip), {});
  const auto before = facts.problems;
  const auto container_timecode = facts.timecode;
  const auto parsed = parse_sidecar(test::get_file(card.folder / Card::sidecar(clip).string()));
  ASSERT_TRUE(parsed) << parsed.error().what;
  apply(facts, *parsed, Card::sidecar(clip));
  EXPECT_EQ(facts.problems, before);
  EXPECT_EQ(facts.gamma, clip.gamma);
  EXPECT_EQ(facts.capture_rate, clip.capture.value_or(clip.rate));
  EXPECT_EQ(facts.drop_frame, clip.drop_frame);
  if (container_timecode) {
    EXPECT_EQ(facts.timecode, container_timecode);
  }
  EXPECT_EQ(iso8601(*facts.recorded_at), iso8601(*probe(*card.fs, Card::video(clip), {})->recorded_at));
}

void expect_sound(const Card& card, const test::CardClip& clip) {
  const auto sound = decode_mono(*card.fs, Card::video(clip), 8000, {});
  ASSERT_TRUE(sound) << sound.error().what;
  if (clip.hears == test::CardClip::Hears::nothing) {
    EXPECT_TRUE(sound->empty());
  } else {
    EXPECT_NEAR(static_cast<double>(sound->size()) / 8000, clip.seconds * (clip.cut ? 0.6 : 1), clip.cut ? 2.0 : 0.1);
  }
}

TEST(MediaCard, IsWhatItsMakerSaysAndFfprobeReads) {
  const Card card;
  for (const auto& clip : test::card_clips()) {
    SCOPED_TRACE(clip.name());
    expect_container_agrees(card, clip);
    expect_sidecar_agrees(card, clip);
    expect_sound(card, clip);
  }
}

}  // namespace
}  // namespace everytake
