#include "media/spanned_clips.h"

#include <gtest/gtest.h>

#include <functional>

#include "base/text.h"
#include "support/rooms.h"

namespace everytake {
namespace {

using namespace std::chrono_literals;

// The first file of a recording that began at 10:00, at the size where FAT32 ends, and what it goes on in.
Clip first() {
  Clip clip;
  clip.roll = "R001";
  clip.name = "C0001";
  clip.path = "CLIP/C0001.MP4";
  clip.size = 4294000000;
  auto& facts = clip.facts;
  facts.camera = "L-1";
  facts.codec = "h264";
  facts.bit_depth = 10;
  facts.width = 3840;
  facts.height = 2160;
  facts.frame_rate = facts.capture_rate = Rational(25, 1);
  facts.frames = 6000;
  facts.duration = 240s;
  facts.timecode = "23:58:00:00";
  facts.recorded_at = parse_iso8601("2026-05-16T10:00:00Z");
  return clip;
}
Clip next() {
  auto clip = first();
  clip.name = "C0002";
  clip.path = "CLIP/C0002.MP4";
  clip.size = 1000;
  clip.facts.timecode = "00:02:00:00";  // past midnight
  clip.facts.recorded_at = *clip.facts.recorded_at + 241s;
  return clip;
}

TEST(SpannedClips, WhereTheCameraSplitARecording) {
  EXPECT_TRUE(continues(first(), next()));
  EXPECT_FALSE(continues(next(), first()));
  const Clip clips[] = {next(), first()};
  EXPECT_EQ(next_of(first(), clips)->name, "C0002");
  EXPECT_EQ(previous_of(next(), clips)->name, "C0001");
  EXPECT_EQ(next_of(next(), clips), std::nullopt);
  EXPECT_EQ(previous_of(first(), clips), std::nullopt);
}

TEST(SpannedClips, InTheNextChapterOfOneNumber) {
  auto a = first(), b = next();
  a.size = 3'798'176'462;  // chapters end where the camera likes
  a.name = "GX010034";
  b.name = "GX020034";
  EXPECT_TRUE(continues(a, b));
  b.name = "GX030034";
  EXPECT_FALSE(continues(a, b));
}

TEST(SpannedClips, OnlyWhereEverythingSpeaksForIt) {
  const std::function<void(Clip&, Clip&)> changes[] = {
      [](Clip&, Clip& b) { b.name = "C0003"; },
      [](Clip&, Clip& b) { b.name = "D0002"; },
      [](Clip&, Clip& b) { b.roll = "R002"; },
      [](Clip&, Clip& b) { b.path = "OTHER/C0002.MP4"; },
      [](Clip& a, Clip&) { a.size = 3'000'000'000; },
      [](Clip&, Clip& b) { b.facts.camera = "L-2"; },
      [](Clip& a, Clip& b) { a.facts.camera = b.facts.camera = std::nullopt; },
      [](Clip&, Clip& b) { b.facts.codec = "hevc"; },
      [](Clip&, Clip& b) { b.facts.height = 1080; },
      [](Clip&, Clip& b) { b.facts.frame_rate = Rational(50, 1); },
      [](Clip&, Clip& b) { b.facts.timecode = "00:02:00:01"; },
      [](Clip& a, Clip& b) { a.facts.timecode = b.facts.timecode = std::nullopt; },
      [](Clip&, Clip& b) { b.facts.recorded_at = *b.facts.recorded_at + 5s; },
      [](Clip&, Clip& b) { b.facts.recorded_at = std::nullopt; },
      [](Clip& a, Clip&) { a.facts.capture_rate = Rational(50, 1); },  // slowed down: it took half as long
  };
  for (const auto& change : changes) {
    auto a = first(), b = next();
    change(a, b);
    EXPECT_FALSE(continues(a, b)) << &change - changes;
  }
}

// AVCHD cameras split near 2 GB.
TEST(SpannedClips, FromEitherSizeAtWhichCamerasSplit) {
  for (const auto& [size, splits] : {std::pair<std::uint64_t, bool>{2'147'483'647, true},
                                     {2'040'109'466, true},
                                     {2'147'483'648, false},
                                     {4'294'967'295, true},
                                     {4'294'967'296, false}}) {
    auto a = first();
    a.size = size;
    EXPECT_EQ(continues(a, next()), splits) << size;
  }
}

}  // namespace
}  // namespace everytake
