#include "plan/plan.h"
#include "plan/document.h"

#include <gtest/gtest.h>

#include "plan/template.h"
#include "support/rooms.h"

namespace everytake {
namespace {

using namespace std::chrono_literals;

Result<Micros> no_song(const Path& song) {
  return fail(Code::not_found, song.string() + ": no such file");
}

// Of the smallest plan, with `more` at its end.
Plan plan_with(const std::string& more, const SongLength& song = no_song) {
  const std::string text =
      "[shoot]\ntitle = \"Saltmarsh Radio\"\nframe_rate = \"25/1\"\n"
      "[[destination]]\nname = \"desk\"\npath = \"/media/desk/footage\"\n"
      "[[destination]]\nname = \"shuttle\"\npath = \"/media/shuttle/footage/\"\n" +
      more;
  auto plan = parse_plan(text, song);
  if (plan) return *plan;
  for (const auto& error : plan.error()) ADD_FAILURE() << to_string(error);
  return {};
}

// What copies rely on.
constexpr const char* kCopies =
    "[shoot]\ntitle = \"Saltmarsh Radio\"\nframe_rate = \"25/1\"\n"
    "[[destination]]\nname = \"desk\"\npath = \"/media/desk/footage\"\n"
    "[[destination]]\nname = \"shuttle\"\npath = \"/media/shuttle/footage/\"\n";

constexpr const char* kSong = "[song]\nlength = \"3:33.400\"\ntempo = 96.0\nfirst_bar = \"0:00.250\"\n";

TEST(Plan, ReadsEverySetting) {
  const auto plan = parse_plan(R"(
[shoot]
title = "Saltmarsh Radio"
performer = "Tollhouse Four"
frame_rate = "24000/1001"
gamma = "S-Log3"
read_card = "twice"
[song]
file = "saltmarsh-radio.wav"
tempo = 96.0
meter = "4/4"
first_bar = "0:00.250"
playback_speeds = [1, 2.0]
[[member]]
name = "Ada"
part = "voice"
[[member]]
name = "Jonas"
[[section]]
name = "Intro"
bars = 4
[[section]]
name = "Verse 1"
start = "0:10.250"
end = 50.25
members = ["Jonas"]
want = { takes = 5, looks = 0 }
[[destination]]
name = "desk"
path = "/media/desk/footage"
same_disk = "allow"
[[destination]]
name = "shuttle"
path = "/media/shuttle/footage/"
accept_cached = true
own_disk = true
[[camera]]
model = "L-1"
gamma = "N-Log"
[want]
takes = 3
b_roll = 2
slow_mo = 1
looks = 2
member_seconds = 30
)",
                               [](const Path& song) -> Result<Micros> {
                                 EXPECT_EQ(song, "saltmarsh-radio.wav");
                                 return 213'400ms;
                               });
  ASSERT_TRUE(plan) << to_string(plan.error().front());
  EXPECT_EQ(plan->title, "Saltmarsh Radio");
  EXPECT_EQ(plan->performer, "Tollhouse Four");
  EXPECT_EQ(plan->frame_rate, Rational(24000, 1001));
  EXPECT_EQ(plan->gamma, "s-log3");
  EXPECT_TRUE(plan->read_card_twice);
  EXPECT_EQ(plan->song.file, "saltmarsh-radio.wav");
  EXPECT_EQ(plan->song.length, 213'400ms);
  EXPECT_EQ(plan->song.tempo, 96);
  EXPECT_EQ(plan->song.meter, (Meter{4, 4}));
  EXPECT_EQ(plan->song.first_bar, 250ms);
  EXPECT_EQ(plan->song.playback_speeds, (std::vector{1.0, 2.0}));
  ASSERT_EQ(plan->members.size(), 2U);
  EXPECT_EQ(plan->members[0].part, "voice");
  ASSERT_EQ(plan->sections.size(), 2U);
  const auto& [intro, verse] = std::tie(plan->sections[0], plan->sections[1]);
  EXPECT_EQ(intro.span, (Span{250ms, 10'250ms}));
  EXPECT_EQ(intro.first_bar, 1);
  EXPECT_EQ(intro.bars, 4);
  EXPECT_EQ(intro.members, (std::vector<std::string>{"Ada", "Jonas"}));
  EXPECT_EQ(intro.want, (Wants{3, 2, 1, 2}));
  EXPECT_EQ(verse.span, (Span{10'250ms, 50'250ms}));
  EXPECT_EQ(verse.first_bar, std::nullopt);
  EXPECT_EQ(verse.bars, std::nullopt);
  EXPECT_EQ(verse.members, (std::vector<std::string>{"Jonas"}));
  EXPECT_EQ(verse.want, (Wants{5, 2, 1, 0}));
  ASSERT_EQ(plan->destinations.size(), 2U);
  EXPECT_TRUE(plan->destinations[0].allow_same_disk);
  EXPECT_FALSE(plan->destinations[0].accept_cached);
  EXPECT_EQ(plan->destinations[1].path, "/media/shuttle/footage");
  EXPECT_TRUE(plan->destinations[1].accept_cached);
  EXPECT_FALSE(plan->destinations[0].own_disk);
  EXPECT_TRUE(plan->destinations[1].own_disk);
  ASSERT_EQ(plan->cameras.size(), 1U);
  EXPECT_EQ(plan->cameras[0].gamma, "n-log");
  EXPECT_EQ(plan->member_seconds, 30s);
}

TEST(Plan, TakesRatesAsPeopleWriteThem) {
  const std::pair<const char*, Rational> rates[] = {
      {"23.976", {24000, 1001}}, {"\"23.976\"", {24000, 1001}}, {"24", {24, 1}},          {"\"25\"", {25, 1}},
      {"25.0", {25, 1}},         {"29.97", {30000, 1001}},      {"59.94", {60000, 1001}}, {"\"60/1\"", {60, 1}}};
  for (const auto& [written, rate] : rates) {
    const auto plan = parse_plan(std::string("[shoot]\ntitle = \"x\"\nframe_rate = ") + written +
                                     "\n[song]\nlength = 60\n[[destination]]\nname = \"a\"\npath = \"/a\"\n"
                                     "[[destination]]\nname = \"b\"\npath = \"/b\"\n",
                                 no_song);
    ASSERT_TRUE(plan) << written;
    EXPECT_EQ(plan->frame_rate, rate) << written;
  }
}

TEST(Plan, LaysBarsOutFromTheFirstBarOn) {
  const auto plan = plan_with(std::string(kSong) +
                              "[[section]]\nname = \"Intro\"\nbars = 4\n[[section]]\nname = \"Verse 1\"\nbars = 16\n");
  ASSERT_EQ(plan.sections.size(), 2U);
  EXPECT_EQ(plan.sections[1].span, (Span{10'250ms, 50'250ms}));  // 0.25 s + 4 bars, + 16 bars of 2.5 s
  EXPECT_EQ(plan.sections[1].first_bar, 5);
}

TEST(Plan, KeepsTheBarNumbersAfterTimesThatEndOnABarLine) {
  const auto plan = plan_with(std::string(kSong) +
                              "[[section]]\nname = \"A\"\nstart = 5\nend = 10.253\n"
                              "[[section]]\nname = \"B\"\nbars = 2\n");
  EXPECT_EQ(plan.sections[1].first_bar, 5);
  EXPECT_EQ(plan.sections[1].span, (Span{10'253ms, 15'250ms}));  // from where A ends to the bar line
}

TEST(Plan, CountsBarsFromWhereTimesEndOffTheBarLine) {
  const auto plan = plan_with(std::string(kSong) +
                              "[[section]]\nname = \"A\"\nstart = 5\nend = 11\n"
                              "[[section]]\nname = \"B\"\nbars = 2\n");
  EXPECT_EQ(plan.sections[1].first_bar, std::nullopt);
  EXPECT_EQ(plan.sections[1].span, (Span{11s, 16s}));
}

TEST(Plan, LetsSectionsFollowOneAnotherWithoutAGap) {
  std::string sections;
  for (int i = 0; i < 40; ++i) sections += "[[section]]\nname = \"S" + std::to_string(i) + "\"\nbars = 3\n";
  const auto plan = plan_with("[song]\nlength = \"10:00\"\ntempo = 123.7\nmeter = \"7/8\"\n" + sections);
  ASSERT_EQ(plan.sections.size(), 40U);
  for (std::size_t i = 1; i < plan.sections.size(); ++i)
    EXPECT_EQ(plan.sections[i].span.start, plan.sections[i - 1].span.end);
  // 120 bars of 7 eighths: 420 quarters at 123.7 a minute.
  EXPECT_EQ(plan.sections.back().span.end, Micros(203'718'674));
}

TEST(Plan, PutsSectionsInSongOrder) {
  const auto plan = plan_with(std::string(kSong) +
                              "[[section]]\nname = \"B\"\nstart = 20\nend = 30\n"
                              "[[section]]\nname = \"A\"\nstart = 10\nend = 20\n");
  ASSERT_EQ(plan.sections.size(), 2U);
  EXPECT_EQ(plan.sections[0].name, "A");
}

TEST(Plan, PutsEverybodyOnSetWhereMembersAreLeftOutAndNobodyWhereTheListIsEmpty) {
  const auto plan = plan_with(std::string(kSong) +
                              "[[member]]\nname = \"Ada\"\n[[member]]\nname = \"Jonas\"\n"
                              "[[section]]\nname = \"A\"\nbars = 1\n"
                              "[[section]]\nname = \"B\"\nbars = 1\nmembers = []\n"
                              "[[section]]\nname = \"C\"\nbars = 1\nmembers = [\"Jonas\", \"Ada\"]\n");
  ASSERT_EQ(plan.sections.size(), 3U);
  EXPECT_EQ(plan.sections[0].members.size(), 2U);
  EXPECT_TRUE(plan.sections[1].members.empty());
  EXPECT_EQ(plan.sections[2].members, (std::vector<std::string>{"Ada", "Jonas"}));
}

TEST(Plan, MeasuresTheSongAndFallsBackOnTheWrittenLength) {
  const std::string song = "[song]\nfile = \"song.wav\"\nlength = \"3:00\"\n";
  EXPECT_EQ(plan_with(song, [](const Path&) -> Result<Micros> { return 200s; }).song.length, 200s);
  EXPECT_EQ(plan_with(song, no_song).song.length, 180s);
}

TEST(Plan, TakesDotsWhereverPeopleWriteThem) {
  const auto dots = std::string(40, '.');
  for (const auto& line : {"# " + dots, "title = \"Don't go" + dots + "\"", "title = '\"" + dots + "'",
                           "title = \"\"\"\n" + dots + "\n\"\"\"", "title = \"\\\"" + dots + "\""})
    EXPECT_TRUE(parse_toml("[shoot]\n" + line + "\n")) << line;
  EXPECT_FALSE(parse_toml("[shoot]\n# it's\na" + std::string(2000, 'x') + ".a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a = 1\n"));
}

TEST(Plan, WantsNothingUnlessItIsToldTo) {
  const auto plan = plan_with(std::string(kSong) + "[[section]]\nname = \"A\"\nbars = 1\n");
  EXPECT_EQ(plan.sections.at(0).want, Wants{});
  EXPECT_EQ(plan.member_seconds, 0s);
}

// Copies rely on the shoot and its destinations, and on nothing else.
TEST(Plan, IsFitForCopiesWhateverIsWrongWithTheSongAndWhatIsWantedOfIt) {
  const std::string rest[] = {"[song]\nfile = \"song.wav\"\n",  // not there, and no length
                              "[song]\nlength = \"1:00\"\n[[section]]\nname = \"A\"\nbars = 4\n",
                              "[song]\nlength = \"1:00\"\n[[member]]\nname = \"Ada\"\n[[member]]\nname = \"Ada\"\n",
                              "[song]\nlength = \"1:00\"\n[[camera]]\nmodel = \"L-1\"\n",
                              "[song]\nlength = \"1:00\"\n[want]\ntakes = -1\n",
                              "[song]\nlength = \"1:00\"\n[[sectoin]]\nname = \"A\"\n"};
  for (const auto& wrong : rest) {
    const auto reading = read_plan(std::string(kCopies) + wrong, no_song);
    EXPECT_FALSE(reading.errors.empty()) << wrong;
    EXPECT_TRUE(reading.fit_for_copies) << wrong;
    EXPECT_EQ(reading.plan.slug(), "saltmarsh-radio");
    EXPECT_EQ(reading.plan.destinations.size(), 2U) << wrong;
    EXPECT_FALSE(reading.plan.text.empty());
    // Nothing is placed by half of a song.
    EXPECT_EQ(reading.plan.song.file, std::nullopt) << wrong;
    EXPECT_EQ(reading.plan.song.length, std::nullopt) << wrong;
    EXPECT_TRUE(reading.plan.sections.empty() && reading.plan.members.empty()) << wrong;
    EXPECT_FALSE(parse_plan(std::string(kCopies) + wrong, no_song)) << wrong;
  }
  const auto misspelled = read_plan(std::string(kCopies).insert(8, "gamma = \"slog3\"\n") + kSong, no_song);
  EXPECT_EQ(misspelled.errors.size(), 1U);
  EXPECT_TRUE(misspelled.fit_for_copies);
  EXPECT_EQ(misspelled.plan.gamma, std::nullopt);
}

TEST(Plan, IsFitForNothingWhereCopiesRelyOnWhatIsWrong) {
  const std::string song = "[song]\nlength = \"1:00\"\n";
  const std::string wrong[] = {
      "[shoot\n",                                                                               // no TOML
      std::string(kCopies) + song + "[[destination]]\nname = \"desk\"\npath = \"/media/c\"\n",  // twice
      std::string(kCopies) + song + "[[destination]]\nname = \"c\"\npath = \"/media/c\"\nown_disc = true\n",
      std::string(kCopies) + song + "[[destinatoin]]\nname = \"c\"\npath = \"/media/c\"\n",  // misspelled
      std::string(kCopies) + song + "[[drive]]\nname = \"c\"\npath = \"/media/c\"\n",        // or meant so
      std::string(kCopies).insert(8, "read_card = \"thrice\"\n") + song,
      std::string(kCopies).insert(8, "raed_card = \"twice\"\n") + song,
      song};
  for (const auto& text : wrong) EXPECT_FALSE(read_plan(text, no_song).fit_for_copies) << text;
  const auto good = read_plan(std::string(kCopies) + song, no_song);
  EXPECT_TRUE(good.fit_for_copies && good.errors.empty());
  EXPECT_EQ(good.plan.song.length, 60s);
}

TEST(Plan, GivesTitlesOfSignsAloneAFolderOfTheirOwn) {
  const auto slug = [](const char* title) {
    Plan plan;
    plan.title = title;
    return plan.slug();
  };
  EXPECT_EQ(slug("Saltmarsh Radio"), "saltmarsh-radio");
  EXPECT_EQ(slug("歌!"), "歌");
  // FNV-1a of the titles, by a program of its own.
  EXPECT_EQ(slug("!!!"), "shoot-2d53a722");
  EXPECT_EQ(slug("???"), "shoot-7bcac794");
}

TEST(Template, IsAValidPlanWhateverItsTitle) {
  for (const char* title : {"saltmarsh-radio", "\"quoted\" \\ and \n more", "Grüße 歌", ""}) {
    const auto plan = parse_plan(plan_template(title), no_song);
    ASSERT_TRUE(plan) << to_string(plan.error().front());
    EXPECT_EQ(plan->sections.size(), 4U);
    EXPECT_EQ(plan->destinations.size(), 2U);
  }
}

TEST(Template, ShowsWhatADestinationMaySayOfItsDisk) {
  auto text = plan_template("Saltmarsh Radio");
  const auto line = text.find("# own_disk = true");
  ASSERT_NE(line, std::string::npos);
  text.erase(line, 2);  // the comment's sign: the line below the last destination counts
  const auto plan = parse_plan(text, no_song);
  ASSERT_TRUE(plan) << to_string(plan.error().front());
  EXPECT_TRUE(plan->destinations[1].own_disk);
}

}  // namespace
}  // namespace everytake
