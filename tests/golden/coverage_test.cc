#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <boost/filesystem/operations.hpp>

#include "base/json.h"
#include "base/text.h"
#include "catalogue/catalogue.h"
#include "cli/coverage_table.h"
#include "cli/shoot.h"
#include "cli/song_strip.h"
#include "support/call.h"
#include "support/golden.h"
#include "support/rooms.h"

namespace everytake {
namespace {

using namespace std::chrono_literals;
using test::call;
using test::expect_golden;
using test::get_file;
using test::put_file;
using test::TempDir;
using testing::HasSubstr;

constexpr Instant kNow{1'700'000'000s};

// What is known of a clip of the invented shoot.
struct Known {
  std::string name;
  std::optional<Kind> kind;
  Micros duration{};
  Rational rate{24000, 1001};
  std::vector<Span> spans;  // where it is placed; nowhere where there are none
  std::vector<MarkChange> marks;
};

MarkChange member(std::string name) {
  return {Field::member, MarkChange::Act::set, std::move(name)};
}
MarkChange section(std::string name) {
  return {Field::section, MarkChange::Act::set, std::move(name)};
}
MarkChange look(std::string name) {
  return {Field::look, MarkChange::Act::set, std::move(name)};
}

// A morning's work: three takes and the beginnings of b-roll.
const std::vector<Known> kMorning{
    {"C0001",
     Kind::performance,
     128s,
     {24000, 1001},
     {{0s, 100s}},
     {look("warm side light"), member("Ada"), member("Jonas"), member("Mirjam"), member("Tobias")}},
    {"C0002",
     Kind::performance,
     44s,
     {24000, 1001},
     {{8s, 52s}},
     {look("cold back light"), member("Ada"), member("Jonas")}},
    {"C0003", Kind::performance, 50s, {24000, 1001}, {{25s, 75s}}, {look("warm side light"), member("Ada")}},
    {"C0004", Kind::b_roll, 12'500ms, {24000, 1001}, {}, {section("Verse 1"), member("Ada")}},
    {"C0005", Kind::b_roll, 8s, {24000, 1001}, {}, {section("Chorus 1"), member("Tobias")}},
    {"C0006", Kind::slow_mo, 4s, {120, 1}, {}, {section("Chorus 1"), member("Ada")}},
    {"C0007", std::nullopt, 3s, {24000, 1001}, {}, {}},
    {"C0008", Kind::performance, 9s, {24000, 1001}, {}, {}},
};

// A shoot's folder with the golden plan, and a catalogue of `clips`.
class Shoot {
 public:
  explicit Shoot(const std::vector<Known>& clips) {
    put_file(dir_ / "shoot.toml", get_file(Path(EVERYTAKE_SOURCE_DIR) / "tests/golden/saltmarsh.toml"));
    const auto catalogue = *Catalogue::open(dir_ / kCatalogueFile);
    std::vector<VisitedFile> files;
    for (const auto& clip : clips) files.push_back({std::nullopt, {clip.name + ".MP4", 1000, FileTime(5s)}});
    const auto visit = *catalogue->open_visit({{}, "", kNow, "card-1", "/media/card", "CARD", "uuid", "identity"},
                                              files, [](const std::string&) { return false; });
    for (std::size_t i = 0; i < clips.size(); ++i) add(clips[i], visit.files[i], *catalogue);
  }

  const Path& path() const { return dir_.path(); }

 private:
  static void add(const Known& known, FileId file, Catalogue& catalogue) {
    const Path path = known.name + ".MP4";
    const ClipFiles files{known.name, {{path, FileRole::video}}};
    const auto id = catalogue.put_clips(std::vector{files}, {{path.string(), file}})->at(0);
    ClipFacts facts;
    facts.duration = known.duration;
    facts.frame_rate = known.rate;
    EXPECT_TRUE(catalogue.record_facts(id, facts, kNow));
    if (known.kind) {
      EXPECT_TRUE(catalogue.record_rule(id, {known.kind, By::rule, "so says the test"}));
    }
    Placement placement;
    placement.state = known.spans.empty() ? Placement::State::none : Placement::State::placed;
    placement.spans = known.spans;
    EXPECT_TRUE(catalogue.record_placement(id, placement));
    EXPECT_TRUE(catalogue.edit(std::vector{HandEdit{id, known.marks, {}, false}}));
  }

  TempDir dir_;
};

// Made once: every row of it is synced to the disk.
const Path& morning() {
  static const Shoot shoot(kMorning);
  return shoot.path();
}

TEST(CoverageCommand, ShowsTheMorningAtAGlance) {
  const auto called = call({"coverage"}, morning());
  EXPECT_EQ(called.exit, 0);
  expect_golden("coverage.txt", called.out);
}

TEST(CoverageCommand, FitsIn80ColumnsWithoutColour) {
  std::istringstream lines(call({"coverage"}, morning()).out);
  for (std::string line; std::getline(lines, line);) {
    EXPECT_LE(display_width(line), 80) << line;
    EXPECT_EQ(line.find('\x1b'), std::string::npos);
  }
}

TEST(CoverageCommand, ShowsWhereInTheSongEachClipLies) {
  const auto shoot = load_shoot(morning());
  ASSERT_TRUE(shoot);
  const auto clips = cli::clips_of(*shoot);
  ASSERT_TRUE(clips);
  for (const int width : {80, 160}) {
    const auto strip = cli::song_strip(shoot->plan, *clips, {.width = width});
    expect_golden("strip_" + std::to_string(width) + ".txt", strip);
    std::istringstream lines(strip);
    for (std::string line; std::getline(lines, line);) EXPECT_LE(display_width(line), width) << line;
  }
  const auto called = call({"coverage", "--strip"}, morning());
  EXPECT_EQ(called.out.substr(call({"coverage"}, morning()).out.size()),
            "\n" + get_file(Path(EVERYTAKE_SOURCE_DIR) / "tests/golden/strip_80.txt"));
}

TEST(CoverageCommand, SaysThatAStripNeedsALength) {
  EXPECT_EQ(cli::song_strip(Plan{}, {}, {}), "");
}

TEST(CoverageCommand, SaysWhatCountsNowhere) {
  EXPECT_EQ(call({"coverage"}, morning()).err,
            "1 clip of unknown kind is not counted: everytake study analyses it, tag --kind says it\n1 performance "
            "has no place in the song and is no take of anything\n");
}

TEST(CoverageCommand, StartsADayWithoutACatalogueAndMakesNone) {
  const TempDir dir;
  put_file(dir / "shoot.toml", get_file(Path(EVERYTAKE_SOURCE_DIR) / "tests/golden/saltmarsh.toml"));
  const auto called = call({"coverage"}, dir.path());
  EXPECT_EQ(called.exit, 0);
  expect_golden("coverage_at_dawn.txt", called.out);
  EXPECT_FALSE(boost::filesystem::exists(dir / "catalogue.sqlite"));
}

TEST(CoverageCommand, ChecksWhetherThePlanIsMet) {
  EXPECT_EQ(call({"coverage", "--check"}, morning()).exit, 1);
  EXPECT_EQ(call({"coverage", "--check", "--json"}, morning()).exit, 1);
  const TempDir dir;
  auto text = get_file(morning() / "shoot.toml");
  text.resize(text.find("[want]"));
  text.erase(text.find("want = { takes = 5 }"), 20);
  put_file(dir / "shoot.toml", text);
  const auto called = call({"coverage", "--check"}, dir.path());
  EXPECT_EQ(called.exit, 0);
  EXPECT_THAT(called.out, HasSubstr("The plan wants nothing: say how much in its [want].\n"));
}

TEST(CoverageCommand, PrintsOneJsonObject) {
  const auto json = Json::parse(call({"coverage", "--json"}, morning()).out);
  EXPECT_EQ(json["schema"], 1);
  EXPECT_EQ(json["sections"][1]["takes"], 2);
  EXPECT_EQ(json["sections"][1]["covered_fraction"], 1.0);
  EXPECT_EQ(json["members"][0]["seconds"], 32.52);  // 12.5, and 480 frames at 24000/1001
  EXPECT_EQ(json["members"][3]["sections"]["Verse 1"], nullptr);
  EXPECT_EQ(json["complete"], false);
}

TEST(CoverageCommand, PointsOutWhatItCountsThoughItsPictureIsInDoubt) {
  auto clips = kMorning;
  const Shoot shoot(clips);
  const auto catalogue = *Catalogue::open(shoot.path() / kCatalogueFile);
  auto facts = catalogue->clip(*catalogue->find_clip("C0002"))->facts;
  facts.problems = {{ProblemCode::truncated, "C0002.MP4", "", "C0002.MP4 has no end"}};
  ASSERT_TRUE(catalogue->record_facts(*catalogue->find_clip("C0002"), facts, kNow));
  EXPECT_THAT(call({"coverage"}, shoot.path()).out,
              HasSubstr(" ?  R001/C0002: performance in Verse 1, Chorus 1, of Ada, Jonas; its end is missing\n"));
  const auto json = Json::parse(call({"coverage", "--json"}, shoot.path()).out);
  EXPECT_EQ(json["sections"][1]["takes"], 2);
  EXPECT_EQ(json["sections"][1]["in_doubt"],
            Json::parse(R"({"takes":1,"covered":false,"b_roll":0,"slow_mo":0,"looks":1})"));
  EXPECT_EQ(json["in_doubt"], Json::parse(R"([{"clip":"R001/C0002","kind":"performance","codes":["truncated"],
      "sections":["Verse 1","Chorus 1"],"members":["Ada","Jonas"],
      "text":"R001/C0002: performance in Verse 1, Chorus 1, of Ada, Jonas; its end is missing"}])"));
}

TEST(CoverageCommand, RefusesADamagedCatalogueAndLeavesItAlone) {
  const TempDir dir;
  const std::string damaged(8192, 'x');
  put_file(dir / "shoot.toml", get_file(morning() / "shoot.toml"));
  put_file(dir / "catalogue.sqlite", damaged);
  const auto called = call({"coverage"}, dir.path());
  EXPECT_EQ(called.exit, 3);
  EXPECT_EQ(called.out, "");
  EXPECT_THAT(called.err, HasSubstr("the catalogue is damaged"));
  EXPECT_EQ(get_file(dir / "catalogue.sqlite"), damaged);
}

Coverage finished() {
  Coverage coverage{.title = "Saltmarsh Radio", .length = 60s, .sections = {}, .members = {}, .gaps = {}};
  SectionCoverage verse{.name = "Verse", .span = {10s, 30s}, .want = {.takes = 1}, .takes = 12, .looks = {}};
  verse.covered = 20s - 1us;
  coverage.sections = {verse};
  return coverage;
}

coverage::Run run(std::string text) {
  return {.span = {10s, 30s}, .members = {}, .fills = {}, .how = std::move(text), .gains = "+1 take"};
}

TEST(CoverageTable, NeverShowsAWholeThatIsNot) {
  EXPECT_EQ(cli::coverage_table(finished(), {}, false, {}),
            "section  takes  covered           b-roll  slow-mo  looks\n"
            "Verse    12/1   #########.  99 %   0       0        0\n"
            "\n"
            "All that the plan wants is there.\n");
}

TEST(CoverageTable, NeverCallsDoneWhatIsInDoubtWithoutSayingSo) {
  auto coverage = finished();
  coverage.sections[0].in_doubt = {.takes = 2, .covered = true};
  coverage.problem_clips = 2;
  for (const char* name : {"C0004", "C0009"})
    coverage.in_doubt.push_back({.clip = name,
                                 .codes = {ProblemCode::truncated},
                                 .sections = {"Verse"},
                                 .members = {},
                                 .text = std::string("R001/") + name + ": performance in Verse; its end is missing"});
  EXPECT_EQ(cli::coverage_table(coverage, {}, false, {}),
            "section  takes   covered             b-roll  slow-mo  looks\n"
            "Verse    12/1 ?  #########.  99 % ?   0       0        0\n"
            "? counts a clip whose picture is in doubt; it is named below.\n"
            "\n"
            "All that the plan wants is there, if the clips in doubt will do.\n"
            "\n"
            "counted, and in doubt: look at them, or shoot them again\n"
            " ?  R001/C0004: performance in Verse; its end is missing\n"
            " ?  R001/C0009: performance in Verse; its end is missing\n"
            "\n"
            "2 clips have a problem: everytake find --problem\n");
}

TEST(CoverageTable, PaintsWhatIsShortAndStillSaysIt) {
  auto coverage = finished();
  coverage.sections[0].takes = 0;
  coverage.gaps = {
      {.section = "Verse", .member = {}, .kind = Kind::performance, .have = 0, .want = 1, .text = "x\x1b"}};
  const auto text = cli::coverage_table(coverage, {run("x\x1b")}, false, {.colour = true});
  EXPECT_THAT(text, HasSubstr("\x1b[31m 0/1 !\x1b[0m"));
  EXPECT_THAT(text, HasSubstr(" 1  x\\x1b\n"));
}

TEST(CoverageTable, CountsWhatItDoesNotList) {
  auto coverage = finished();
  std::vector<coverage::Run> runs;
  for (int i = 1; i <= 20; ++i) {
    coverage.gaps.push_back(
        {.section = "S", .member = {}, .kind = {}, .have = 0, .want = 1, .text = "gap " + std::to_string(i)});
    runs.push_back(run("run " + std::to_string(i)));
  }
  const auto text = cli::coverage_table(coverage, runs, false, {});
  EXPECT_THAT(text, HasSubstr(" 5  run 5\n      +1 take\n    and 15 more: everytake coverage --all\n"));
  EXPECT_EQ(text.find("run 6"), std::string::npos);
  EXPECT_EQ(text.find("gap"), std::string::npos);
  const auto all = cli::coverage_table(coverage, runs, true, {});
  EXPECT_THAT(all, HasSubstr("20  run 20\n      +1 take\n\nwhat is missing\n    gap 1\n"));
  EXPECT_THAT(all, HasSubstr("    gap 20\n"));
}

}  // namespace
}  // namespace everytake
