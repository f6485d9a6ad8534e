#include "cli/terminal.h"

#include <sys/ioctl.h>
#include <unistd.h>

#include <algorithm>
#include <cstdlib>
#include <numeric>

#include "base/text.h"

namespace everytake::cli {
namespace {

using namespace std::chrono_literals;

constexpr auto kMotionEvery = 100ms;  // ten a second look alive and cost nothing
constexpr auto kPlainEvery = 10s;     // a log that can still be read after an hour of copying
constexpr std::string_view kGap = "  ";

// ECMA-48, 8.3.117 (SGR).
std::string_view sgr(Tone tone) {
  switch (tone) {
    case Tone::plain:
      return "";
    case Tone::heading:
      return "\x1b[1m";
    case Tone::good:
      return "\x1b[32m";
    case Tone::warning:
      return "\x1b[33m";
    case Tone::bad:
      return "\x1b[31m";
    case Tone::faint:
      return "\x1b[2m";
  }
  return "";
}

std::string coloured(std::string text, Tone tone, const Screen& screen) {
  const auto start = sgr(tone);
  return screen.colour && !start.empty() && !text.empty() ? std::string(start) + text + "\x1b[0m" : text;
}

std::vector<int> column_widths(const std::vector<Column>& columns, const std::vector<std::vector<Cell>>& rows,
                               int screen_width) {
  std::vector<int> widths;
  for (const auto& column : columns) widths.push_back(display_width(column.title));
  for (const auto& row : rows)
    for (std::size_t i = 0; i < columns.size(); ++i) widths[i] = std::max(widths[i], display_width(shown(row[i].text)));
  const int gaps = static_cast<int>(kGap.size() * (columns.size() - 1));
  for (int excess = std::accumulate(widths.begin(), widths.end(), gaps) - screen_width; excess > 0; --excess) {
    std::size_t widest = columns.size();
    for (std::size_t i = 0; i < columns.size(); ++i)
      if (columns[i].shrinks && widths[i] > kLeastColumn && (widest == columns.size() || widths[i] > widths[widest]))
        widest = i;
    if (widest == columns.size()) break;
    --widths[widest];
  }
  return widths;
}

std::string row_text(const std::vector<Column>& columns, const std::vector<Cell>& row, const std::vector<int>& widths,
                     const Screen& screen) {
  std::string line;
  std::size_t pending = 0;  // spaces that only count when something follows
  for (std::size_t i = 0; i < columns.size(); ++i) {
    const auto text = shown(row[i].text);
    const int used = std::min(display_width(text), widths[i]);
    const auto slack = static_cast<std::size_t>(widths[i] - used);
    const bool right = columns[i].align == Column::Align::right;
    if (used > 0) {
      line += std::string(pending + (right ? slack : 0), ' ') + coloured(fit(text, used), row[i].tone, screen);
      pending = 0;
    }
    pending += (used > 0 && right ? 0 : slack) + kGap.size();
  }
  return line + "\n";
}

}  // namespace

Screen decide_screen(const ScreenFacts& facts) {
  const bool no_color = facts.no_color && *facts.no_color;
  const bool dumb = facts.term && std::string_view(facts.term) == "dumb";
  const bool lively = facts.is_terminal && !no_color && !dumb;
  return {.width = facts.is_terminal && facts.columns > 0 ? facts.columns : 80, .colour = lively, .motion = lively};
}

Screen screen_of(int fd) {
  winsize size{};
  const bool is_terminal = ::isatty(fd) == 1;
  const bool sized = is_terminal && ::ioctl(fd, TIOCGWINSZ, &size) == 0;
  return decide_screen({.is_terminal = is_terminal,
                        .columns = sized ? size.ws_col : 0,
                        .no_color = std::getenv("NO_COLOR"),
                        .term = std::getenv("TERM")});
}

std::string painted(std::string_view text, Tone tone, const Screen& screen) {
  return coloured(shown(text), tone, screen);
}

std::string table(const std::vector<Column>& columns, const std::vector<std::vector<Cell>>& rows,
                  const Screen& screen) {
  const auto widths = column_widths(columns, rows, screen.width);
  std::vector<Cell> titles;
  for (const auto& column : columns) titles.emplace_back(column.title, Tone::heading);
  std::string text = row_text(columns, titles, widths, screen);
  for (const auto& row : rows) {
    text += row_text(columns, row, widths, screen);
    if (row.size() > columns.size() && !row.back().text.empty())
      text += "    " + painted(row.back().text, row.back().tone, screen) + "\n";
  }
  return text;
}

void Progress::update(std::string_view text, Time now) {
  if (quiet_ || (last_ && now - *last_ < (screen_.motion ? Time::duration(kMotionEvery) : kPlainEvery))) return;
  last_ = now;
  if (!screen_.motion) {
    err_ << shown(text) << '\n' << std::flush;
    return;
  }
  // One column is left free: a full last column makes some terminals wrap.
  auto line = shown(text);
  if (display_width(line) >= screen_.width) line = fit(line, screen_.width - 1);
  line_ = std::move(line);
  err_ << "\r\x1b[K" << line_ << std::flush;
}

void Progress::clear() {
  if (line_.empty()) return;
  err_ << "\r\x1b[K" << std::flush;
  line_.clear();
}

}  // namespace everytake::cli
