// How text reaches a person: what the screen can do, colour, columns, and the one line that shows progress.
#pragma once

#include <chrono>
#include <optional>
#include <ostream>
#include <string>
#include <string_view>
#include <vector>

namespace everytake::cli {

// What may be done on one stream.
struct Screen {
  int width = 80;  // columns to fill
  bool colour = false;
  bool motion = false;  // lines may be rewritten
};

// What the environment says. nullptr where a variable is not set.
struct ScreenFacts {
  bool is_terminal = false;
  int columns = 0;  // 0 where the terminal doesn't say
  const char* no_color = nullptr;
  const char* term = nullptr;
};

// Colour and motion on a terminal only; neither under NO_COLOR (set and not empty, as no-color.org has it) or
// TERM=dumb.
Screen decide_screen(const ScreenFacts& facts);
// The same for an open file, asking the process's environment.
Screen screen_of(int fd);

// What a text means, not which colour it gets. Never the only carrier of a meaning: a word or sign says it too.
enum class Tone { plain, heading, good, warning, bad, faint };

// `text` with control characters made visible, in the colour of its tone where the screen has colour.
std::string painted(std::string_view text, Tone tone, const Screen& screen);

struct Cell {
  Cell(const char* t) : text(t) {}
  Cell(std::string t, Tone how = Tone::plain) : text(std::move(t)), tone(how) {}
  std::string text;
  Tone tone = Tone::plain;
};

struct Column {
  std::string title;
  enum class Align { left, right } align = Align::left;
  bool shrinks = false;  // gives up columns, down to kLeastColumn, where the table is too wide
};
inline constexpr int kLeastColumn = 6;

// A heading line and one line a row, two spaces between columns, no trailing spaces. Rows have a cell a column, and
// may have one more, which goes whole on a line of its own below.
// Control characters in cells are made visible. A table whose columns can't shrink enough is wider than the screen.
std::string table(const std::vector<Column>& columns, const std::vector<std::vector<Cell>>& rows, const Screen& screen);

// What is going on, for one long command. On a screen with motion: a line at the bottom, rewritten in place.
// Elsewhere: plain lines, the first at once and then seldom. Use from one thread.
class Progress {
 public:
  using Time = std::chrono::steady_clock::time_point;

  // `err` must outlive this. Under `quiet` nothing is written.
  Progress(std::ostream& err, Screen screen, bool quiet) : err_(err), screen_(screen), quiet_(quiet) {}
  ~Progress() { clear(); }
  Progress(const Progress&) = delete;
  Progress& operator=(const Progress&) = delete;

  // What is going on now. Cheap to call often: what comes too soon after the last one is dropped.
  void update(std::string_view text, Time now);
  // Takes the moving line away.
  void clear();

 private:
  std::ostream& err_;
  const Screen screen_;
  const bool quiet_;
  std::string line_;  // what the moving line says; empty where there is none
  std::optional<Time> last_;
};

}  // namespace everytake::cli
