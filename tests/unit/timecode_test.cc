#include "media/container/timecode.h"
#include "support/rooms.h"

#include <fmt/format.h>
#include <gtest/gtest.h>

extern "C" {
#include <libavutil/timecode.h>
}

namespace everytake {
namespace {

const Rational kFilm(24000, 1001), k25(25, 1), k2997(30000, 1001), k50(50, 1), k5994(60000, 1001), k11988(120000, 1001);

struct Pair {
  std::int64_t frame;
  const char* label;
};

// The drop-frame rule of SMPTE ST 12-1, counted out by hand at the places where it bites.
constexpr Pair kDrop2997[] = {
    {0, "00:00:00;00"},       {1799, "00:00:59;29"},    {1800, "00:01:00;02"},   {3597, "00:01:59;29"},
    {3598, "00:02:00;02"},    {16183, "00:08:59;29"},   {16184, "00:09:00;02"},  {17981, "00:09:59;29"},
    {17982, "00:10:00;00"},   {107891, "00:59:59;29"},  {107892, "01:00:00;00"}, {150612, "01:23:45;12"},
    {1078920, "10:00:00;00"}, {2589407, "23:59:59;29"},
};
constexpr Pair kDrop5994[] = {
    {0, "00:00:00;00"},       {3599, "00:00:59;59"},   {3600, "00:01:00;04"},    {7195, "00:01:59;59"},
    {7196, "00:02:00;04"},    {35963, "00:09:59;59"},  {35964, "00:10:00;00"},   {215722, "00:59:58;58"},
    {215783, "00:59:59;59"},  {215784, "01:00:00;00"}, {2157840, "10:00:00;00"}, {2715094, "12:34:56;50"},
    {5178815, "23:59:59;59"},
};

TEST(Timecode, CountsDropFrameAsSt121) {
  for (const auto& [frame, label] : kDrop2997) {
    EXPECT_EQ(to_string(label_of(frame, k2997, true), k2997), label);
    ASSERT_TRUE(parse_timecode(label, k2997)) << label;
    EXPECT_EQ(frame_count(*parse_timecode(label, k2997), k2997), frame) << label;
  }
  for (const auto& [frame, label] : kDrop5994) {
    EXPECT_EQ(to_string(label_of(frame, k5994, true), k5994), label);
    ASSERT_TRUE(parse_timecode(label, k5994)) << label;
    EXPECT_EQ(frame_count(*parse_timecode(label, k5994), k5994), frame) << label;
  }
}

TEST(Timecode, WrapsAtMidnight) {
  EXPECT_EQ(frames_a_day(k2997, true), 2589408);
  EXPECT_EQ(frames_a_day(k5994, true), 5178816);
  EXPECT_EQ(to_string(label_of(2589408, k2997, true), k2997), "00:00:00;00");
  EXPECT_EQ(to_string(label_of(-1, k5994, true), k5994), "23:59:59;59");
  EXPECT_EQ(to_string(label_of(24 * 3600 * 25 + 3, k25, false), k25), "00:00:00:03");
}

TEST(Timecode, CountsEveryLabelOfWithoutDrop) {
  EXPECT_EQ(frame_count(*parse_timecode("01:00:00:00", kFilm), kFilm), 86400);
  EXPECT_EQ(frame_count(*parse_timecode("01:00:00:00", k25), k25), 90000);
  EXPECT_EQ(frame_count(*parse_timecode("01:00:00:00", k2997), k2997), 108000);
}

// libavutil's own drop-frame arithmetic, over a day in steps that meet every minute and second mark sooner or later.
TEST(Timecode, AgreesWithLibavutilOverADay) {
  for (const auto& [rate, av_rate] : {std::pair{k2997, AVRational{30000, 1001}}, {k5994, AVRational{60000, 1001}}}) {
    AVTimecode timecode{};
    av_timecode_init(&timecode, av_rate, AV_TIMECODE_FLAG_DROPFRAME, 0, nullptr);
    for (int frame = 0; frame < frames_a_day(rate, true); frame += 397) {
      char text[AV_TIMECODE_STR_SIZE];
      ASSERT_EQ(to_string(label_of(frame, rate, true), rate), av_timecode_make_string(&timecode, text, frame));
    }
  }
}

TEST(Timecode, RefusesLabelsThatDoNotExist) {
  for (const char* label : {"00:01:00;00", "00:01:00;01", "00:59:00;01", "00:00:00:30", "24:00:00:00", "00:60:00:00",
                            "00:00:60:00", "1:00:00:00", "01:00:00", "", "aa:bb:cc:dd", "01:00:00:-1"})
    EXPECT_EQ(parse_timecode(label, k2997), std::nullopt) << label;
  EXPECT_EQ(parse_timecode("00:01:00;03", k5994), std::nullopt);
  EXPECT_EQ(parse_timecode("01:00:00;00", kFilm), std::nullopt);  // 23.976 has no drop-frame
  EXPECT_EQ(parse_timecode("01:00:00;00", Rational(30, 1)), std::nullopt);
  EXPECT_TRUE(parse_timecode("00:10:00;00", k2997));
  EXPECT_TRUE(parse_timecode("00:20:00;01", k2997));
}

TEST(Timecode, HasThreeFrameDigitsAboveAHundredASecond) {
  const auto label = parse_timecode("10:00:00;008", k11988);
  ASSERT_TRUE(label);
  EXPECT_EQ(to_string(*label, k11988), "10:00:00;008");
}

struct LtcPair {
  const char* word;
  int base;
  Rational rate;
  const char* label;  // at the LTC's own base
  bool half;
};

// Words as cameras write them, each with the label libavutil reads from it.
const LtcPair kWords[] = {
    {"40000000", 30, k2997, "00:00:00;00", false}, {"54830000", 30, k2997, "00:00:03;14", true},
    {"54050000", 30, k2997, "00:00:05;14", false}, {"23040000", 24, kFilm, "00:00:04:23", false},
    {"11030000", 24, kFilm, "00:00:03:11", false}, {"17305719", 25, k25, "19:57:30:17", false},
    {"21250020", 25, k25, "20:00:25:21", false},   {"44410200", 30, k2997, "00:02:41;04", false},
    {"53120700", 30, k2997, "00:07:12;13", false}, {"67212901", 30, k2997, "01:29:21;27", false},
    {"66342901", 30, k2997, "01:29:34;26", false}, {"67460811", 30, k2997, "11:08:46;27", false},
    {"68460811", 30, k2997, "11:08:46;28", false}, {"41800001", 30, k2997, "01:00:00;01", true},
    {"01000081", 25, k25, "01:00:00:01", true},
};

TEST(Ltc, ReadsAndWritesTheTimeBytes) {
  for (const auto& pair : kWords) {
    const auto time = parse_ltc(pair.word, pair.base);
    ASSERT_TRUE(time) << pair.word;
    EXPECT_EQ(to_string(time->label, pair.rate), pair.label) << pair.word;
    EXPECT_EQ(time->second_half, pair.half) << pair.word;
    EXPECT_EQ(fmt::format("{:08X}", ltc_word(*time, pair.base)), pair.word);
    char text[AV_TIMECODE_STR_SIZE];
    const AVRational rate{static_cast<int>(pair.rate.num()), static_cast<int>(pair.rate.den())};
    const auto word = static_cast<std::uint32_t>(std::stoul(pair.word, nullptr, 16));
    EXPECT_STREQ(av_timecode_make_smpte_tc_string2(text, rate, word, 0, 1), pair.label);
  }
}

TEST(Ltc, CountsHalvesForFilesOfTwiceTheRate) {
  EXPECT_EQ(to_string(at_file_rate(*parse_ltc("54830000", 30), 30, k5994), k5994), "00:00:03;29");
  EXPECT_EQ(to_string(at_file_rate(*parse_ltc("41800001", 30), 30, k5994), k5994), "01:00:00;03");
  EXPECT_EQ(to_string(at_file_rate(*parse_ltc("01000081", 25), 25, k50), k50), "01:00:00:03");
  EXPECT_EQ(to_string(at_file_rate(*parse_ltc("67212901", 30), 30, k2997), k2997), "01:29:21;27");
  EXPECT_EQ(to_string(at_file_rate(*parse_ltc("41000001", 30), 30, k11988), k11988), "01:00:00;004");
}

TEST(Ltc, RefusesWhatIsNoTime) {
  for (const char* word :
       {"", "4000000", "400000000", "4000000g", "0A000000", "00700000", "00007000", "00000034", "30000000", "40000100"})
    EXPECT_EQ(parse_ltc(word, 30), std::nullopt) << word;
}

}  // namespace
}  // namespace everytake
