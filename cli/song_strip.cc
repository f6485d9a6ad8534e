#include "cli/song_strip.h"

#include <fmt/format.h>

#include <algorithm>
#include <map>

#include "base/text.h"

namespace everytake::cli {
namespace {

using namespace std::chrono_literals;

constexpr int kLeastMark = 10;  // columns between two times

// One line to write into. Each column holds one character that is as wide as a column.
class Line {
 public:
  explicit Line(int columns) : cells_(static_cast<std::size_t>(columns), " ") {}

  // What lies outside is cut off. `text` has no wide characters.
  void put(int column, std::string_view text) {
    for (std::size_t i = 0; i < text.size(); ++column) {
      std::size_t length = 1;
      while (i + length < text.size() && (static_cast<unsigned char>(text[i + length]) & 0xC0) == 0x80) ++length;
      if (column >= 0 && column < size()) cells_[static_cast<std::size_t>(column)] = text.substr(i, length);
      i += length;
    }
  }
  bool is_free(int from, int to) const {
    return std::all_of(cells_.begin() + std::max(0, from), cells_.begin() + std::min(size(), to),
                       [](const std::string& cell) { return cell == " "; });
  }
  std::string text() const {
    std::string all;
    for (const auto& cell : cells_) all += cell;
    return all.substr(0, all.find_last_not_of(' ') + 1) + "\n";
  }
  int size() const { return static_cast<int>(cells_.size()); }

 private:
  std::vector<std::string> cells_;
};

class Strip {
 public:
  Strip(const Plan& plan, std::span<const Clip> clips, const Screen& screen, Micros length)
      : plan_(plan), clips_(clips), screen_(screen), length_(length) {
    for (const auto& clip : clips) ++named_[clip.name];
  }

  std::string text() const {
    std::string all = times() + painted_line(sections(), Tone::heading) + takes();
    const std::pair<Kind, char> kinds[] = {{Kind::performance, '='}, {Kind::b_roll, '-'}, {Kind::slow_mo, '~'}};
    for (const auto& [kind, sign] : kinds) {
      const auto lines = bars(kind, sign);
      if (lines.empty()) continue;
      all += painted(to_string(kind), Tone::heading, screen_) + "\n";
      for (const auto& line : lines) all += line.text();
    }
    return all;
  }

 private:
  int column(Micros time) const {
    const double part = static_cast<double>(time.count()) / static_cast<double>(length_.count());
    return std::clamp(static_cast<int>(part * screen_.width), 0, screen_.width);
  }

  std::string painted_line(const Line& line, Tone tone) const {
    auto text = line.text();
    text.pop_back();
    return painted(text, tone, screen_) + "\n";
  }

  std::string times() const {
    Line line(screen_.width);
    const Micros steps[] = {5s, 10s, 15s, 30s, 60s, 120s, 300s, 600s};
    const auto* step = std::find_if(std::begin(steps), std::end(steps) - 1,
                                    [this](Micros s) { return column(s) - column(0us) >= kLeastMark; });
    for (Micros at{}; at < length_; at += *step) {
      const auto whole = std::chrono::duration_cast<std::chrono::seconds>(at).count();
      const auto mark = fmt::format("{}:{:02}", whole / 60, whole % 60);
      if (column(at) + static_cast<int>(mark.size()) <= screen_.width) line.put(column(at), mark);
    }
    return line.text();
  }

  // A line where each begins, and where it ends if no other begins there.
  Line sections() const {
    Line line(screen_.width);
    for (const auto& section : plan_.sections) {
      const int from = column(section.span.start), room = column(section.span.end) - from;
      if (room > 0) line.put(from, "|" + (room > 1 ? fit(shown(section.name), room - 1) : "") + "|");
    }
    return line;
  }

  // Of each column's middle.
  std::string takes() const {
    Line line(screen_.width);
    for (int c = 0; c < screen_.width; ++c) {
      const Micros at(static_cast<std::int64_t>((c + 0.5) / screen_.width * static_cast<double>(length_.count())));
      const auto count = std::count_if(clips_.begin(), clips_.end(), [&](const Clip& clip) {
        return clip.judgement.kind == Kind::performance && is_placed(clip) &&
               std::any_of(clip.placement.spans.begin(), clip.placement.spans.end(),
                           [at](const Span& span) { return span.start <= at && at < span.end; });
      });
      line.put(c, count > 9 ? "+" : count > 0 ? std::to_string(count) : ".");
    }
    return painted("takes at each moment", Tone::heading, screen_) + "\n" + line.text();
  }

  static bool is_placed(const Clip& clip) { return clip.placement.state == Placement::State::placed; }

  std::string name_of(const Clip& clip) const {
    return shown(named_.at(clip.name) > 1 ? clip.roll + "/" + clip.name : clip.name);
  }

  // The name in the bar where there is room, else behind it.
  std::string bar(const std::string& name, int columns, char sign) const {
    const int inside = columns - 2, width = display_width(name);
    if (width <= inside) return "[" + name + std::string(static_cast<std::size_t>(inside - width), sign) + "]";
    return (columns < 2 ? "|" : "[" + std::string(static_cast<std::size_t>(inside), sign) + "]") + name;
  }

  std::vector<Line> bars(Kind kind, char sign) const {
    std::vector<Line> lines;
    for (const auto& [span, clip] : by_start(kind)) {
      const int from = column(span.start);
      const auto text = bar(name_of(*clip), column(span.end) - from, sign);
      const int begins = std::min(from, std::max(0, screen_.width - display_width(text)));
      const int ends = begins + display_width(text);
      auto line =
          std::find_if(lines.begin(), lines.end(), [&](const Line& l) { return l.is_free(begins - 1, ends + 1); });
      if (line == lines.end()) line = lines.insert(lines.end(), Line(screen_.width));
      line->put(begins, text);
    }
    return lines;
  }

  std::vector<std::pair<Span, const Clip*>> by_start(Kind kind) const {
    std::vector<std::pair<Span, const Clip*>> all;
    for (const auto& clip : clips_)
      if (clip.judgement.kind == kind && is_placed(clip))
        for (const auto& span : clip.placement.spans) all.emplace_back(span, &clip);
    std::stable_sort(all.begin(), all.end(),
                     [](const auto& a, const auto& b) { return a.first.start < b.first.start; });
    return all;
  }

  const Plan& plan_;
  const std::span<const Clip> clips_;
  const Screen screen_;
  const Micros length_;
  std::map<std::string, int> named_;
};

}  // namespace

std::string song_strip(const Plan& plan, std::span<const Clip> clips, const Screen& screen) {
  auto length = plan.song.length.value_or(Micros::zero());
  if (length == Micros::zero() && !plan.sections.empty()) length = plan.sections.back().span.end;
  return length > Micros::zero() ? Strip(plan, clips, screen, length).text() : "";
}

}  // namespace everytake::cli
