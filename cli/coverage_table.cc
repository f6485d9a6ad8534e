#include "cli/coverage_table.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/text.h"

namespace everytake::cli {
namespace {

using enum Column::Align;

constexpr int kBarColumns = 10;
constexpr std::size_t kMostRuns = 5;  // what a person can keep in mind between two takes
constexpr std::size_t kMostListed = 8;

// "1/3 !" where there is less than wanted; just the number where nothing is wanted. "3/3 ?" where some are in doubt.
Cell have_of_want(std::int64_t have, std::int64_t want, bool is_short, bool in_doubt, const char* unit = "") {
  const char* doubt = in_doubt ? " ?" : "";
  if (want == 0) return {fmt::format("{:>2}{}{}", have, unit, doubt), in_doubt ? Tone::warning : Tone::plain};
  const Tone tone = is_short && have == 0 ? Tone::bad : is_short || in_doubt ? Tone::warning : Tone::good;
  return {fmt::format("{:>2}/{}{}{}{}", have, want, unit, is_short ? " !" : "", doubt), tone};
}

Cell count(int have, int want, int in_doubt) {
  return have_of_want(have, want, have < want, in_doubt != 0);
}

// Rounded down: nothing looks whole that isn't.
Cell covered_cell(const coverage::SectionCoverage& section) {
  const auto length = std::max<std::int64_t>(1, section.span.length().count());
  const auto percent = section.covered.count() * 100 / length;
  const auto full = static_cast<std::size_t>(section.covered.count() * kBarColumns / length);
  return {fmt::format("{}{} {:>3} %{}", std::string(full, '#'), std::string(kBarColumns - full, '.'), percent,
                      section.in_doubt.covered ? " ?" : "")};
}

std::string sections_table(const coverage::Coverage& coverage, const Screen& screen) {
  if (coverage.sections.empty()) return "The plan has no sections.\n";
  std::vector<std::vector<Cell>> rows;
  for (const auto& s : coverage.sections)
    rows.push_back({s.name, count(s.takes, s.want.takes, s.in_doubt.takes), covered_cell(s),
                    count(s.b_roll, s.want.b_roll, s.in_doubt.b_roll),
                    count(s.slow_mo, s.want.slow_mo, s.in_doubt.slow_mo),
                    count(static_cast<int>(s.looks.size()), s.want.looks, s.in_doubt.looks)});
  return table({{"section", left, true}, {"takes"}, {"covered"}, {"b-roll"}, {"slow-mo"}, {"looks"}}, rows, screen);
}

// Sections a member is on set in and no clip shows them in.
std::string unseen_in(const coverage::MemberCoverage& member, const std::vector<coverage::SectionCoverage>& sections) {
  std::string names;
  for (std::size_t i = 0; i < sections.size(); ++i)
    if (member.sections[i] == 0) names += (names.empty() ? "" : ", ") + sections[i].name;
  return names;
}

std::string members_table(const coverage::Coverage& coverage, const Screen& screen) {
  std::vector<std::vector<Cell>> rows;
  for (const auto& m : coverage.members) {
    const auto clips = [&](Kind kind) { return fmt::format("{}", m.kinds.at(kind).clips); };
    rows.push_back({m.name,
                    have_of_want(std::chrono::floor<std::chrono::seconds>(m.have).count(),
                                 std::chrono::ceil<std::chrono::seconds>(m.want).count(), m.have < m.want,
                                 m.in_doubt != Micros::zero(), " s"),
                    clips(Kind::performance), clips(Kind::b_roll), clips(Kind::slow_mo),
                    unseen_in(m, coverage.sections)});
  }
  return table({{"member", left, true},
                {"on screen"},
                {"performance", right},
                {"b-roll", right},
                {"slow-mo", right},
                {"no clip in", left, true}},
               rows, screen);
}

bool wants_anything(const coverage::Coverage& coverage) {
  return std::any_of(coverage.sections.begin(), coverage.sections.end(),
                     [](const auto& section) { return section.want != Wants{}; }) ||
         std::any_of(coverage.members.begin(), coverage.members.end(),
                     [](const auto& member) { return member.want > Micros::zero(); });
}

std::string all_there(const coverage::Coverage& coverage, const Screen& screen) {
  if (!wants_anything(coverage)) return "The plan wants nothing: say how much in its [want].\n";
  if (coverage.in_doubt.empty()) return painted("All that the plan wants is there.", Tone::good, screen) + "\n";
  return painted("All that the plan wants is there, if the clips in doubt will do.", Tone::warning, screen) + "\n";
}

// Runs, and where there is more than they tell, how much: what is on the screen is read between two takes.
std::string next_to_shoot(const coverage::Coverage& coverage, const std::vector<coverage::Run>& runs, bool all,
                          const Screen& screen) {
  if (coverage.complete()) return all_there(coverage, screen);
  std::string text = painted("what to shoot next", Tone::heading, screen) + "\n";
  const auto listed = all ? runs.size() : std::min(runs.size(), kMostRuns);
  for (std::size_t i = 0; i < listed; ++i)
    text += fmt::format("{:>2}  {}\n      {}\n", i + 1, shown(runs[i].how), shown(runs[i].gains));
  if (const auto rest = runs.size() - listed; rest > 0)
    text += fmt::format("    and {} more: everytake coverage --all\n", rest);
  if (!all && !runs.empty()) return text;
  if (!runs.empty()) text += "\n" + painted("what is missing", Tone::heading, screen) + "\n";
  for (const auto& gap : coverage.gaps) text += fmt::format("    {}\n", shown(gap.text));
  return text;
}

// What is counted and may be of no use, by name: it must be looked at while it can be shot again.
std::string doubts_text(const std::vector<coverage::ClipInDoubt>& in_doubt, const Screen& screen) {
  if (in_doubt.empty()) return "";
  std::string text =
      "\n" + painted("counted, and in doubt: look at them, or shoot them again", Tone::heading, screen) + "\n";
  const auto listed = std::min(in_doubt.size(), kMostListed);
  for (std::size_t i = 0; i < listed; ++i) text += painted(" ?  " + in_doubt[i].text, Tone::warning, screen) + "\n";
  if (const auto rest = in_doubt.size() - listed; rest > 0) text += fmt::format("    and {} more\n", rest);
  return text;
}

std::string problems_line(int clips, const Screen& screen) {
  if (clips == 0) return "";
  const auto text = clips == 1 ? std::string("1 clip has a problem") : fmt::format("{} clips have a problem", clips);
  return "\n" + painted(text + ": everytake find --problem", Tone::warning, screen) + "\n";
}

}  // namespace

std::string coverage_table(const coverage::Coverage& coverage, const std::vector<coverage::Run>& runs, bool all,
                           const Screen& screen) {
  std::string text = sections_table(coverage, screen);
  if (!coverage.members.empty())
    text += "\n" + members_table(coverage, screen) + "\nSeconds on screen are of b-roll and slow-mo.\n";
  if (!coverage.complete()) text += "! is less than the plan wants.\n";
  if (!coverage.in_doubt.empty()) text += "? counts a clip whose picture is in doubt; it is named below.\n";
  return text + "\n" + next_to_shoot(coverage, runs, all, screen) + doubts_text(coverage.in_doubt, screen) +
         problems_line(coverage.problem_clips, screen);
}

}  // namespace everytake::cli
