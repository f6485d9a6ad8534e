#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <random>

#include "plan/plan.h"
#include "plan/template.h"
#include "support/rooms.h"

namespace everytake {
namespace {

Result<Micros> no_song(const Path& song) {
  return fail(Code::not_found, song.string() + ": there is no such file");
}

// What is wrong with `text`, a line each.
std::string errors_of(std::string_view text) {
  const auto plan = parse_plan(text, no_song);
  std::string lines;
  if (!plan)
    for (const auto& error : plan.error()) lines += to_string(error) + "\n";
  return lines;
}

// A good plan of parts that a test can replace. The rest of the text moves with the lines of the parts before it.
struct Parts {
  std::string shoot = "[shoot]\ntitle = \"Saltmarsh Radio\"\nframe_rate = \"25/1\"\n";  // lines 1 to 3
  std::string song = "[song]\nlength = \"1:00\"\ntempo = 96\n";                         // 4 to 6
  std::string members = "[[member]]\nname = \"Ada\"\n[[member]]\nname = \"Jonas\"\n";   // 7 to 10
  std::string sections = "[[section]]\nname = \"Intro\"\nbars = 4\n";                   // 11 to 13
  std::string destinations =                                                            // 14 to 19
      "[[destination]]\nname = \"desk\"\npath = \"/m/desk\"\n"
      "[[destination]]\nname = \"shuttle\"\npath = \"/m/shuttle\"\n";
  std::string more;
  std::string text() const { return shoot + song + members + sections + destinations + more; }
};

std::string with_shoot(const std::string& line) {
  Parts parts;
  parts.shoot += line;
  return errors_of(parts.text());
}

std::string with_song(const std::string& song) {
  Parts parts;
  parts.song = "[song]\n" + song;
  return errors_of(parts.text());
}

std::string with_sections(const std::string& sections) {
  Parts parts;
  parts.sections = sections;
  return errors_of(parts.text());
}

std::string with_destinations(const std::string& destinations) {
  Parts parts;
  parts.destinations = destinations;
  return errors_of(parts.text());
}

std::string with_more(const std::string& more) {
  Parts parts;
  parts.more = more;
  return errors_of(parts.text());
}

TEST(PlanErrors, AreNoneInTheGoodPlanTheOtherTestsSpoil) {
  EXPECT_EQ(errors_of(Parts().text()), "");
}

TEST(PlanErrors, NameTheNearestKnownKey) {
  EXPECT_EQ(with_shoot("preformer = \"x\"\n"),
            "shoot.toml:4:1: shoot: unknown key \"preformer\" (did you mean \"performer\"?)\n");
  EXPECT_EQ(with_more("[wants]\ntakes = 1\n"), "shoot.toml:20:2: unknown key \"wants\" (did you mean \"want\"?)\n");
  EXPECT_EQ(with_more("[want]\nshoes = 1\n"),
            "shoot.toml:21:1: want: unknown key \"shoes\" (known are takes, b_roll, slow_mo, looks, member_seconds)\n");
}

TEST(PlanErrors, ShowKeysWithoutLettingThemReachTheTerminal) {
  EXPECT_EQ(with_shoot("\"a\\u001b[2J\" = 1\n").find('\x1b'), std::string::npos);
}

TEST(PlanErrors, FindABadRateGammaAndReadCard) {
  Parts parts;
  parts.shoot = "[shoot]\ntitle = \" \"\nframe_rate = \"24000/0\"\ngamma = \"s\\u0007log\"\nread_card = \"thrice\"\n";
  EXPECT_EQ(errors_of(parts.text()),
            "shoot.toml:2:9: shoot: title is empty\n"
            "shoot.toml:3:14: shoot: frame_rate = \"24000/0\" is no frame rate (write 24000/1001, 23.976, 24, 25, "
            "29.97, 30, 50, 59.94 or 60)\n"
            "shoot.toml:4:9: shoot: gamma has control characters in it\n"
            "shoot.toml:5:13: shoot: read_card can't be \"thrice\" (it can be \"once\", \"twice\")\n");
}

TEST(PlanErrors, NameTheNearestGammaForOneThatNoClipHas) {
  EXPECT_EQ(with_shoot("gamma = \"slog3\"\n"),
            "shoot.toml:4:9: shoot: gamma = \"slog3\" is not known here (did you mean \"s-log3\"?)\n");
  EXPECT_EQ(with_shoot("gamma = \"V-Log L\"\n"),
            "shoot.toml:4:9: shoot: gamma = \"V-Log L\" is not known here (did you mean \"v-log-l\"?)\n");
  EXPECT_EQ(with_more("[[camera]]\nmodel = \"L-1\"\ngamma = \"nlog\"\n"),
            "shoot.toml:22:9: camera 1: gamma = \"nlog\" is not known here (did you mean \"n-log\"?)\n");
  EXPECT_THAT(with_shoot("gamma = \"sepia\"\n"),
              testing::StartsWith("shoot.toml:4:9: shoot: gamma = \"sepia\" is not known here (leave it out, or write "
                                  "one of apple-log, c-log, "));
  for (const char* known : {"S-Log3", "s-log3-cine", "s-cinetone", "hlg", "flat"})
    EXPECT_EQ(with_shoot(std::string("gamma = \"") + known + "\"\n"), "") << known;
}

TEST(PlanErrors, RefuseRatesThatAreNone) {
  for (const char* rate : {"0", "-25", "inf", "nan", "1e30", "\"25/0\"", "\"1/25\"", "\"9223372036854775807/1\"",
                           "true", "\"\"", "[25]", "2024-01-01"}) {
    Parts parts;
    parts.shoot = std::string("[shoot]\ntitle = \"x\"\nframe_rate = ") + rate + "\n";
    EXPECT_THAT(errors_of(parts.text()), testing::StartsWith("shoot.toml:3:14: shoot: frame_rate")) << rate;
  }
}

TEST(PlanErrors, FindABadTempoMeterAndTime) {
  EXPECT_EQ(with_song("length = \"1:00\"\ntempo = -96\n"),
            "shoot.toml:6:9: song: tempo = -96 is out of range (10 to 1000)\n");
  for (const char* meter : {"4", "4/", "/4", "0/4", "4/3", "4/0", "-4/4", "4/4x", "99999999999/4", ""})
    EXPECT_THAT(with_song(std::string("length = \"1:00\"\ntempo = 96\nmeter = \"") + meter + "\"\n"),
                testing::StartsWith("shoot.toml:7:9: song: meter"))
        << meter;
  EXPECT_EQ(
      with_song("length = \"1:00\"\ntempo = 96\nfirst_bar = \"0:99\"\n"),
      "shoot.toml:7:13: song: first_bar = \"0:99\" is no time (a time is minutes:seconds such as \"1:42.500\", or "
      "seconds)\n");
}

TEST(PlanErrors, AskForTheSongsLengthWhereItCantBeMeasured) {
  EXPECT_EQ(with_song("tempo = 96\n"),
            "shoot.toml:4:1: song: neither a file nor a length (add file = \"song.wav\", or length = \"3:30\", to "
            "[song])\n");
  EXPECT_EQ(
      with_song("tempo = 96\nfile = \"song.wav\"\n"),
      "shoot.toml:6:8: song: can't be measured: song.wav: there is no such file (put it there, or say how long it "
      "is: length = \"3:30\")\n");
}

TEST(PlanErrors, RefusePlaybackSpeedsThatNobodyPlaysAt) {
  for (const char* speeds : {"[]", "[0]", "[-1.0]", "[nan]", "2.0", "[\"2\"]", "[1e9]"})
    EXPECT_THAT(with_song(std::string("length = 60\ntempo = 96\nplayback_speeds = ") + speeds + "\n"),
                testing::StartsWith("shoot.toml:7:19: song: playback_speeds"))
        << speeds;
}

TEST(PlanErrors, SayThatTempoIsMissingOnce) {
  Parts parts;
  parts.song = "[song]\nlength = \"1:00\"\n\n";
  parts.sections = "[[section]]\nname = \"A\"\nbars = 4\n[[section]]\nname = \"B\"\nbars = 4\n";
  EXPECT_EQ(errors_of(parts.text()),
            "shoot.toml:13:8: section \"A\": counts bars, but the song has no tempo (add tempo = … to [song])\n");
}

TEST(PlanErrors, FindSectionsThatOverlapOrEndTooEarlyOrTooLate) {
  EXPECT_EQ(with_sections("[[section]]\nname = \"A\"\nstart = 10\nend = 30\n"
                          "[[section]]\nname = \"B\"\nstart = \"0:20\"\nend = \"0:40\"\n"),
            "shoot.toml:15:1: section \"B\" (0:20.000 to 0:40.000) overlaps section \"A\" (0:10.000 to 0:30.000) (one "
            "may begin where the other ends)\n");
  EXPECT_EQ(with_sections("[[section]]\nname = \"A\"\nstart = 10\nend = 5\n"),
            "shoot.toml:14:7: section \"A\": ends at 0:05.000, which is not after its start at 0:10.000\n");
  EXPECT_EQ(
      with_sections("[[section]]\nname = \"A\"\nbars = 25\n"),
      "shoot.toml:11:1: section \"A\" lasts to 1:02.500, past the song's end at 1:00.000 (check its bars or times, "
      "and the song's tempo and length)\n");
}

TEST(PlanErrors, FindAnOverlapWithAnEarlierLongSection) {
  EXPECT_THAT(with_sections("[[section]]\nname = \"A\"\nstart = 0\nend = 50\n"
                            "[[section]]\nname = \"B\"\nstart = 10\nend = 20\n"
                            "[[section]]\nname = \"C\"\nstart = 30\nend = 40\n"),
              testing::HasSubstr("section \"C\" (0:30.000 to 0:40.000) overlaps section \"A\""));
}

TEST(PlanErrors, FindSectionsWithBothBarsAndTimesOrNeitherOrHalf) {
  EXPECT_EQ(with_sections("[[section]]\nname = \"A\"\nbars = 4\nstart = 10\n"),
            "shoot.toml:13:8: section \"A\": has both bars and times (keep bars, or start and end)\n");
  EXPECT_EQ(with_sections("[[section]]\nname = \"A\"\n"),
            "shoot.toml:12:8: section \"A\": has neither bars nor times (add bars = …, or start = … and end = …)\n");
  EXPECT_EQ(with_sections("[[section]]\nname = \"A\"\nstart = 10\n"),
            "shoot.toml:11:1: section \"A\": end is missing (a section has a start and an end, or bars)\n");
}

TEST(PlanErrors, FindWrongNumbersOfBars) {
  for (const char* bars : {"0", "-4", "4.5", "\"4\"", "9223372036854775807", "true", "10001"})
    EXPECT_THAT(with_sections(std::string("[[section]]\nname = \"A\"\nbars = ") + bars + "\n"),
                testing::StartsWith("shoot.toml:13:8: section \"A\": bars"))
        << bars;
}

TEST(PlanErrors, FindUnknownMembersAndNamesThatAreThereTwice) {
  EXPECT_EQ(with_sections("[[section]]\nname = \"A\"\nbars = 1\nmembers = [\"Adda\", \"Jonas\", \"Jonas\"]\n"
                          "[[section]]\nname = \"A\"\nbars = 1\n"),
            "shoot.toml:14:12: section \"A\": there is no member \"Adda\" (did you mean \"Ada\"?)\n"
            "shoot.toml:14:29: section \"A\": members names \"Jonas\" twice\n"
            "shoot.toml:16:8: section \"A\" is there twice (the first is in line 12)\n");
  EXPECT_EQ(with_more("[[member]]\nname = \"Ada\"\n"),
            "shoot.toml:21:8: member \"Ada\" is there twice (the first is in "
            "line 8)\n");
}

TEST(PlanErrors, FindASectionsOwnWantsWrong) {
  EXPECT_EQ(with_sections("[[section]]\nname = \"A\"\nbars = 1\n[section.want]\ntakes = -1\nb_roll = 1.5\n"
                          "looks = 99999999999\nmember_seconds = 3\n"),
            "shoot.toml:15:9: want of section \"A\": takes = -1 is out of range (0 to 10000)\n"
            "shoot.toml:16:10: want of section \"A\": b_roll must be a whole number\n"
            "shoot.toml:17:9: want of section \"A\": looks = 99999999999 is out of range (0 to 10000)\n"
            "shoot.toml:18:1: want of section \"A\": unknown key \"member_seconds\" (known are takes, b_roll, slow_mo, "
            "looks)\n");
}

TEST(PlanErrors, FindTooFewDestinations) {
  EXPECT_EQ(with_destinations(""),
            "shoot.toml:1:1: there is no destination (a card is safe in two copies: add a "
            "[[destination]] on another disk)\n");
  EXPECT_EQ(with_destinations("[[destination]]\nname = \"desk\"\npath = \"/m/desk\"\n"),
            "shoot.toml:15:8: there is only one destination (a card is safe in two copies: add a [[destination]] on "
            "another disk)\n");
}

TEST(PlanErrors, FindDestinationsInOneAnother) {
  const std::string desk =
      "[[destination]]\nname = \"desk\"\npath = \"/m/desk\"\n[[destination]]\nname = \"b\"\npath = ";
  EXPECT_EQ(
      with_destinations(desk + "\"/m//desk/\"\n"),
      "shoot.toml:19:8: destination \"b\": has the path of \"desk\" (each destination needs a folder of its own)\n");
  for (const char* path : {"/m/desk/b", "/m/x/../desk/b", "/m", "/"})
    EXPECT_EQ(
        with_destinations(desk + "\"" + path + "\"\n"),
        "shoot.toml:19:8: destination \"b\": one lies in the other: see \"desk\" (each destination needs a folder "
        "of its own)\n")
        << path;
  EXPECT_EQ(with_destinations(desk + "\"/m/desk2\"\n"), "");
}

TEST(PlanErrors, RefuseADestinationsHalfPathAndWrongOptions) {
  Parts parts;
  parts.destinations += "[[destination]]\nname = \"c\"\npath = \"~/c\"\nsame_disk = true\naccept_cached = \"yes\"\n";
  EXPECT_EQ(errors_of(parts.text()),
            "shoot.toml:22:8: destination \"c\": path must be a whole path (one that begins with /)\n"
            "shoot.toml:23:13: destination \"c\": same_disk must be a text (same_disk = \"…\")\n"
            "shoot.toml:24:17: destination \"c\": accept_cached must be true or false (without quotes)\n");
}

TEST(PlanErrors, ExplainTablesOfTheWrongShape) {
  EXPECT_EQ(with_more("[camera]\nmodel = \"L-1\"\n"),
            "shoot.toml:20:1: \"camera\" is not written as a table of its own (begin each one with [[camera]])\n");
  EXPECT_EQ(with_more("[[want]]\ntakes = 1\n"), "shoot.toml:20:1: \"want\" must be a table (write it as [want])\n");
}

TEST(PlanErrors, PointAtBrokenSyntax) {
  EXPECT_EQ(errors_of("[shoot]\ntitle = \"x\n"),
            "shoot.toml:2:11: a text has no closing quote in its line, or a control character in it\n");
  EXPECT_THAT(errors_of("[shoot]\ntitle = \"x\"\ntitle = \"y\"\n"), testing::StartsWith("shoot.toml:3:"));
  EXPECT_THAT(errors_of("[shoot]\ntitle = \"\xff\"\n"), testing::StartsWith("shoot.toml:2:"));
  EXPECT_THAT(errors_of("x = 99999999999999999999\n"), testing::StartsWith("shoot.toml:1:"));
}

TEST(PlanErrors, AreAllToldAtOnceInTheOrderOfTheText) {
  const auto plan = parse_plan("[shoot]\nx = 1\n[song]\ny = 1\n[[member]]\nz = 1\n[[section]]\nq = 1\n", no_song);
  ASSERT_FALSE(plan);
  EXPECT_GE(plan.error().size(), 10U);
  for (std::size_t i = 1; i < plan.error().size(); ++i)
    EXPECT_LE(plan.error()[i - 1].position, plan.error()[i].position);
}

TEST(PlanErrors, OutliveATextMadeToUseUpTheStack) {
  std::string keys = "[a", lists = "x = ";
  for (int i = 0; i < 200'000; ++i) {
    keys += ".a";
    lists += "[";
  }
  EXPECT_THAT(errors_of(keys + "]\n"), testing::StartsWith("shoot.toml:1:1: a key with more parts"));
  EXPECT_THAT(errors_of(lists + "\n"), testing::StartsWith("shoot.toml:1:"));
}

TEST(PlanErrors, LieWithinTheTextHoweverItIsMangled) {
  const std::string good = plan_template("Saltmarsh Radio");
  const auto lines = std::count(good.begin(), good.end(), '\n');
  std::mt19937 random(7);
  std::uniform_int_distribution<std::size_t> where(0, good.size() - 1);
  std::uniform_int_distribution<int> byte(0, 255);
  for (int i = 0; i < 2000; ++i) {
    std::string text = good;
    if (i % 2 == 0)
      text.resize(where(random));
    else
      for (int k = 0; k < 3; ++k) text[where(random)] = static_cast<char>(byte(random));
    const auto plan = parse_plan(text, no_song);
    if (plan) continue;
    ASSERT_FALSE(plan.error().empty());
    for (const auto& error : plan.error()) {
      EXPECT_GE(error.position.line, 1);
      EXPECT_LE(error.position.line, lines + 4);  // mangling may add a line
      EXPECT_GE(error.position.column, 1);
      EXPECT_FALSE(error.message.empty());
    }
  }
}

}  // namespace
}  // namespace everytake
