#include "base/text.h"
#include "support/rooms.h"

#include <gtest/gtest.h>

namespace everytake {
namespace {

using namespace std::chrono_literals;

TEST(Shown, KeepsPlainTextAndEscapesWhatATerminalWouldObey) {
  EXPECT_EQ(shown("Grünes Licht.MP4"), "Grünes Licht.MP4");
  EXPECT_EQ(shown("a\nb"), "a\\x0ab");
  EXPECT_EQ(shown("\x1b[2J"), "\\x1b[2J");
  EXPECT_EQ(shown("x\xffy"), "x\\xffy");
  EXPECT_EQ(shown("a\xe2\x80\xae"
                  "b"),
            "a\\xe2\\x80\\xae"
            "b");  // U+202E, right-to-left override
}

// RFC 4648 section 10.
TEST(Base64, GivesTheTestVectorsOfRfc4648) {
  EXPECT_EQ(base64(""), "");
  EXPECT_EQ(base64("f"), "Zg==");
  EXPECT_EQ(base64("fo"), "Zm8=");
  EXPECT_EQ(base64("foo"), "Zm9v");
  EXPECT_EQ(base64("foobar"), "Zm9vYmFy");
}

TEST(Fit, PadsAndCutsByColumnsNotBytes) {
  EXPECT_EQ(fit("Ada", 5), "Ada  ");
  EXPECT_EQ(fit("Grüße", 5), "Grüße");
  EXPECT_EQ(fit("Verse 12", 5), "Vers…");
  EXPECT_EQ(display_width("歌"), 2);
}

TEST(SongTime, ReadsAndWritesMinutesAndHours) {
  EXPECT_EQ(parse_song_time("3:33.400"), 213'400ms);
  EXPECT_EQ(parse_song_time("1:02:03"), 3723s);
  EXPECT_EQ(parse_song_time("0:00.250"), 250ms);
  EXPECT_EQ(parse_song_time("102.5"), 102'500ms);
  EXPECT_EQ(song_time(213'400ms), "3:33.400");
  EXPECT_EQ(song_time(-1250ms), "-0:01.250");
  EXPECT_EQ(song_time(3723s), "1:02:03.000");
}

TEST(SongTime, RefusesWhatIsNoTime) {
  for (const char* text :
       {"", ":", "1:", "1:60", "1:5", "-1", "1:00:60", "1:60:00", "x", "1e3", "0:0x10", "1:2:3:4", "nan"})
    EXPECT_EQ(parse_song_time(text), std::nullopt) << text;
}

TEST(Iso8601, NeedsAZoneAndTurnsItIntoUtc) {
  const auto t = parse_iso8601("2026-01-01T10:00:00+01:00");
  ASSERT_TRUE(t);
  EXPECT_EQ(iso8601(*t), "2026-01-01T09:00:00Z");
  EXPECT_EQ(parse_iso8601("2026-01-01T09:00:00Z"), t);
  EXPECT_EQ(parse_iso8601("2026-01-01T10:00:00"), std::nullopt);
  EXPECT_EQ(parse_iso8601("2026-02-30T10:00:00Z"), std::nullopt);
}

TEST(BytesText, CountsInPowersOfTen) {
  EXPECT_EQ(bytes_text(999), "999 B");
  EXPECT_EQ(bytes_text(1'234'567'890), "1.23 GB");
  EXPECT_EQ(bytes_text(133'000'000'000), "133 GB");
}

TEST(EditDistance, CountsSingleEdits) {
  EXPECT_EQ(edit_distance("kitten", "sitting"), 3U);  // the textbook example of Levenshtein's distance
  EXPECT_EQ(edit_distance("", "abc"), 3U);
}

TEST(Nearest, FindsATypoAndStaysSilentAboutAnotherWord) {
  const std::vector<std::string> words{"name", "bars", "start"};
  EXPECT_EQ(nearest("nmae", words), "name");
  EXPECT_EQ(nearest("nam", words), "name");
  EXPECT_EQ(nearest("strat", words), "start");
  EXPECT_EQ(nearest("bar", words), "bars");
  EXPECT_EQ(nearest("abc", words), std::nullopt);
  EXPECT_EQ(nearest("starts", words), "start");
  EXPECT_EQ(nearest("destination", words), std::nullopt);
}

}  // namespace
}  // namespace everytake
