#include "plan/sections.h"

#include <fmt/format.h>

#include <algorithm>
#include <set>
#include <utility>

#include "base/text.h"
#include "plan/bars.h"

namespace everytake::plan {
namespace {

using namespace std::chrono_literals;

constexpr auto kPastEnd = 1ms;  // bars and a length in milliseconds are each rounded
constexpr int kMostBars = 10'000;
constexpr int kMostWanted = 10'000;

// Where the next section in bars begins.
struct Cursor {
  Micros end{};     // of the section before
  Micros origin{};  // `bars` bars after it is the end: a run of sections is rounded from one origin
  std::int64_t bars = 0;
  bool numbered = true;        // the origin is the song's first bar
  bool known = true;           // false after a section that could not be read
  bool ask_for_tempo = false;  // said once, not for every section
};

struct Placed {
  Section section;
  TextPosition position;
};

std::string name_of(const Section& section) {
  return "\"" + shown(section.name) + "\"";
}

std::string range_of(const Span& span) {
  return song_time(span.start) + " to " + song_time(span.end);
}

std::vector<std::string> read_on_set(Fields& fields, const std::vector<Member>& members) {
  std::vector<std::string> all;
  for (const auto& member : members) all.push_back(member.name);
  if (!fields.has("members")) return all;
  std::set<std::string> on_set;
  for (const auto& [name, position] : fields.texts("members").value_or(std::vector<Named>{})) {
    if (std::find(all.begin(), all.end(), name) == all.end()) {
      const auto meant = nearest(name, all);
      fields.error(position, fmt::format("there is no member \"{}\"", shown(name)),
                   meant ? fmt::format("did you mean \"{}\"?", *meant) : "add a [[member]] of that name");
    } else if (!on_set.insert(name).second) {
      fields.error(position, fmt::format("members names \"{}\" twice", shown(name)));
    }
  }
  std::erase_if(all, [&](const std::string& name) { return !on_set.contains(name); });
  return all;
}

void move_after(const Span& span, const std::optional<BarGrid>& grid, Cursor& cursor) {
  const auto bar = grid ? grid->bar_starting_at(span.end, kNearBarLine) : std::nullopt;
  cursor.end = span.end;
  cursor.origin = bar ? grid->first_bar : span.end;
  cursor.bars = bar ? *bar - 1 : 0;
  cursor.numbered = bar.has_value();
}

// False, and an error added, where the section has no span.
bool read_times(Fields& fields, Section& section, const std::optional<BarGrid>& grid, Cursor& cursor) {
  const auto start = fields.time("start");
  const auto end = fields.time("end");
  fields.require("start", "a section has a start and an end, or bars");
  fields.require("end", "a section has a start and an end, or bars");
  if (!start || !end) return false;
  section.span = {*start, *end};
  if (*end <= *start) {
    fields.error("end",
                 fmt::format("ends at {}, which is not after its start at {}", song_time(*end), song_time(*start)));
    return false;
  }
  move_after(section.span, grid, cursor);
  return true;
}

bool read_bars(Fields& fields, Section& section, const std::optional<BarGrid>& grid, Cursor& cursor) {
  const auto bars = fields.whole("bars", 1, kMostBars);
  if (!grid && std::exchange(cursor.ask_for_tempo, false))
    fields.error("bars", "counts bars, but the song has no tempo", "add tempo = … to [song]");
  if (!bars || !grid || !cursor.known) return false;
  section.bars = *bars;
  if (cursor.numbered) section.first_bar = static_cast<int>(cursor.bars + 1);
  section.span.start = cursor.end;
  cursor.bars += *bars;
  cursor.end = section.span.end = cursor.origin + grid->length(cursor.bars);
  return true;
}

bool read_span(Fields& fields, Section& section, const std::optional<BarGrid>& grid, Cursor& cursor) {
  const bool times = fields.has("start") || fields.has("end");
  if (times && fields.has("bars")) {
    fields.error("bars", "has both bars and times", "keep bars, or start and end");
    return false;
  }
  if (times) return read_times(fields, section, grid, cursor);
  if (fields.has("bars")) return read_bars(fields, section, grid, cursor);
  fields.error("name", "has neither bars nor times", "add bars = …, or start = … and end = …");
  return false;
}

void refuse_past_end(Placed& placed, Micros length, PlanErrors& errors) {
  auto& [section, position] = placed;
  if (section.span.end > length + kPastEnd || section.span.start >= length)
    errors.push_back({position,
                      fmt::format("section {} lasts to {}, past the song's end at {}", name_of(section),
                                  song_time(section.span.end), song_time(length)),
                      "check its bars or times, and the song's tempo and length"});
  section.span.end = std::min(section.span.end, length);
}

void refuse_overlaps(const std::vector<Placed>& in_song_order, PlanErrors& errors) {
  const Placed* furthest = nullptr;
  for (const auto& placed : in_song_order) {
    const auto& span = placed.section.span;
    if (furthest && span.start < furthest->section.span.end)
      errors.push_back({placed.position,
                        fmt::format("section {} ({}) overlaps section {} ({})", name_of(placed.section), range_of(span),
                                    name_of(furthest->section), range_of(furthest->section.span)),
                        "one may begin where the other ends"});
    if (!furthest || span.end > furthest->section.span.end) furthest = &placed;
  }
}

Section read_section(Fields& fields, const Value& table, const Plan& plan, const Wants& wants, PlanErrors& errors) {
  Section section;
  fields.require("name", "name = \"Verse 1\"");
  section.name = fields.name("name").value_or("");
  section.members = read_on_set(fields, plan.members);
  Fields want(plan::table(table, "want", errors), "want of section " + name_of(section),
              {"takes", "b_roll", "slow_mo", "looks"}, errors);
  section.want = read_wants(want, wants);
  return section;
}

}  // namespace

Wants read_wants(Fields& want, Wants otherwise) {
  return {.takes = want.whole("takes", 0, kMostWanted).value_or(otherwise.takes),
          .b_roll = want.whole("b_roll", 0, kMostWanted).value_or(otherwise.b_roll),
          .slow_mo = want.whole("slow_mo", 0, kMostWanted).value_or(otherwise.slow_mo),
          .looks = want.whole("looks", 0, kMostWanted).value_or(otherwise.looks)};
}

std::vector<Section> read_sections(const Value& document, const Plan& plan, const Wants& wants, bool tempo_given,
                                   PlanErrors& errors) {
  const auto grid = bar_grid(plan.song);
  Cursor cursor{.end = plan.song.first_bar, .origin = plan.song.first_bar, .ask_for_tempo = !tempo_given};
  std::vector<Placed> placed;
  std::vector<Named> names;
  std::size_t number = 0;
  for (const Value* table : tables(document, "section", errors)) {
    Fields fields(table, called("section", ++number, *table), {"name", "bars", "start", "end", "members", "want"},
                  errors);
    auto section = read_section(fields, *table, plan, wants, errors);
    names.push_back({section.name, fields.position("name")});
    cursor.known = read_span(fields, section, grid, cursor);
    if (cursor.known) placed.push_back({std::move(section), table->position});
  }
  refuse_twice("section", names, errors);
  std::stable_sort(placed.begin(), placed.end(),
                   [](const Placed& a, const Placed& b) { return a.section.span.start < b.section.span.start; });
  refuse_overlaps(placed, errors);
  std::vector<Section> sections;
  for (auto& one : placed) {
    if (plan.song.length) refuse_past_end(one, *plan.song.length, errors);
    sections.push_back(std::move(one.section));
  }
  return sections;
}

}  // namespace everytake::plan
