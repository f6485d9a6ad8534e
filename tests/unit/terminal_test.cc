#include "cli/terminal.h"

#include <gtest/gtest.h>

#include <sstream>

#include "base/text.h"
#include "support/rooms.h"

namespace everytake::cli {
namespace {

using namespace std::chrono_literals;

Progress::Time at(std::chrono::milliseconds t) {
  return Progress::Time(t);
}

TEST(Screen, HasColourAndMotionOnATerminalOnly) {
  const auto terminal = decide_screen({.is_terminal = true, .columns = 120, .no_color = nullptr, .term = "xterm"});
  EXPECT_TRUE(terminal.colour);
  EXPECT_TRUE(terminal.motion);
  EXPECT_EQ(terminal.width, 120);
  const auto pipe = decide_screen({.is_terminal = false, .columns = 0, .no_color = nullptr, .term = "xterm"});
  EXPECT_FALSE(pipe.colour);
  EXPECT_FALSE(pipe.motion);
  EXPECT_EQ(pipe.width, 80);
}

// no-color.org: "when present and not an empty string (regardless of its value)".
TEST(Screen, ObeysNoColorWhenItIsNotEmpty) {
  EXPECT_FALSE(decide_screen({.is_terminal = true, .columns = 80, .no_color = "0", .term = "xterm"}).colour);
  EXPECT_TRUE(decide_screen({.is_terminal = true, .columns = 80, .no_color = "", .term = "xterm"}).colour);
}

TEST(Screen, IsCalmOnADumbTerminal) {
  const auto screen = decide_screen({.is_terminal = true, .columns = 80, .no_color = nullptr, .term = "dumb"});
  EXPECT_FALSE(screen.colour);
  EXPECT_FALSE(screen.motion);
}

TEST(Table, PutsACellMoreThanThereAreColumnsWholeBelowItsRow) {
  const std::string said(90, 'x');
  EXPECT_EQ(table({{"a"}}, {{{"1"}, {said}}, {{"2"}, {""}}, {{"3"}}}, {}), "a\n1\n    " + said + "\n2\n3\n");
}

TEST(Table, AlignsByColumnsAndLeavesNoTrailingSpaces) {
  const std::vector<Column> columns{{"section"}, {"takes", Column::Align::right}, {"looks"}};
  EXPECT_EQ(table(columns, {{"Grüße", "2", "warm"}, {"歌", "12", ""}}, {}),
            "section  takes  looks\n"
            "Grüße        2  warm\n"
            "歌          12\n");
}

TEST(Table, ShrinksTheColumnsThatMayUntilItFits) {
  const std::vector<Column> columns{{"name", Column::Align::left, true}, {"n", Column::Align::right}};
  const auto text = table(columns, {{"a very long name of a section", "7"}}, {.width = 20});
  EXPECT_EQ(text,
            "name               n\n"
            "a very long name…  7\n");
}

TEST(Table, IsRatherTooWideThanUnreadable) {
  const auto text = table({{"name", Column::Align::left, true}}, {{"a very long name"}}, {.width = 1});
  EXPECT_EQ(text, "name\na ver…\n");
}

TEST(Table, ShowsControlCharactersAndNeverSendsThem) {
  const auto text = table({{"name"}}, {{"\x1b[2Jx\n"}}, {.width = 80, .colour = true});
  EXPECT_EQ(text, "\x1b[1mname\x1b[0m\n\\x1b[2Jx\\x0a\n");
}

TEST(Table, PaintsTonesOnlyWhereThereIsColour) {
  const std::vector<std::vector<Cell>> rows{{Cell("short", Tone::warning)}};
  EXPECT_NE(table({{"x"}}, rows, {.colour = true}).find("\x1b[33mshort\x1b[0m"), std::string::npos);
  EXPECT_EQ(table({{"x"}}, rows, {}).find('\x1b'), std::string::npos);
}

TEST(Progress, RewritesOneLineWithinTheWidthOnATerminal) {
  std::ostringstream err;
  {
    Progress progress(err, {.width = 10, .colour = false, .motion = true}, false);
    progress.update("0123456789abc", at(0s));
  }
  EXPECT_EQ(err.str(), "\r\x1b[K01234567…\r\x1b[K");
}

TEST(Progress, DropsWhatComesTooSoon) {
  std::ostringstream err;
  Progress progress(err, {.motion = true}, false);
  progress.update("a", at(0ms));
  progress.update("b", at(50ms));
  progress.update("c", at(150ms));
  EXPECT_EQ(err.str(), "\r\x1b[Ka\r\x1b[Kc");
}

TEST(Progress, WritesPlainLinesSeldomWhereNothingMoves) {
  std::ostringstream err;
  Progress progress(err, {}, false);
  for (int second = 0; second <= 20; ++second)
    progress.update("at " + std::to_string(second), at(std::chrono::seconds(second)));
  EXPECT_EQ(err.str(), "at 0\nat 10\nat 20\n");
}

TEST(Progress, WhenQuietSaysNothing) {
  std::ostringstream err;
  Progress progress(err, {}, true);
  progress.update("copying", at(0s));
  EXPECT_EQ(err.str(), "");
}

}  // namespace
}  // namespace everytake::cli
