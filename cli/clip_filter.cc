#include "cli/clip_filter.h"

#include <fmt/format.h>

#include <CLI/App.hpp>
#include <algorithm>

#include "base/text.h"
#include "cli/choose.h"
#include "cli/values.h"
#include "plan/bars.h"

namespace everytake::cli {
namespace {

bool holds(const std::vector<std::string>& names, const std::string& name) {
  return std::find(names.begin(), names.end(), name) != names.end();
}

bool has_word(const Clip& clip, const std::string& word, const Plan& plan) {
  std::vector<std::string> texts{clip.name,
                                 clip.roll,
                                 clip.note.value_or(""),
                                 clip.look.value_or(""),
                                 clip.angle.value_or(""),
                                 clip.facts.camera.value_or("")};
  texts.insert(texts.end(), clip.members.begin(), clip.members.end());
  for (auto& section : sections_of(clip, plan)) texts.push_back(std::move(section));
  return std::any_of(texts.begin(), texts.end(), [&](const auto& text) { return holds_letters(text, word); });
}

bool has_part(const std::optional<std::string>& have, const std::optional<std::string>& want) {
  return !want || (have && holds_letters(*have, *want));
}

// "4", "4+".
std::optional<std::pair<int, int>> parse_rating(const std::string& text) {
  if (text.empty() || text.size() > 2 || text[0] < '1' || text[0] > '5' || (text.size() == 2 && text[1] != '+'))
    return std::nullopt;
  const int from = text[0] - '0';
  return std::pair(from, text.size() == 2 ? 5 : from);
}

bool is_rated(const std::optional<int>& have, const std::optional<std::pair<int, int>>& want) {
  return !want || (have && want->first <= *have && *have <= want->second);
}

bool agrees(const std::optional<std::string>& have, const std::optional<std::string>& want) {
  return !want || (have && same_letters(*have, *want));
}

// "s-log3" also finds "s-log3-cine": one curve, the rest names the gamut.
bool is_gamma(const std::optional<std::string>& have, const std::optional<std::string>& want) {
  return agrees(have, want) || (have && same_letters(have->substr(0, want->size() + 1), *want + "-"));
}

bool has_moment(const Placement& placement, Micros at) {
  return placement.state == Placement::State::placed &&
         std::any_of(placement.spans.begin(), placement.spans.end(),
                     [&](const Span& span) { return span.start <= at && at < span.end; });
}

bool fast_enough(const ClipFacts& facts, Rational least) {
  const auto& rate = facts.capture_rate ? facts.capture_rate : facts.frame_rate;
  return rate && !(*rate < least);
}

// The bar in which the song ends; one that begins with its end holds nothing of it.
std::int64_t last_bar(const plan::BarGrid& grid, Micros length) {
  const auto bar = grid.at(length).bar;
  return grid.start_of(bar) < length ? bar : bar - 1;
}

Result<Micros> start_of_bar(std::int64_t bar, const Song& song) {
  const auto grid = plan::bar_grid(song);
  if (!grid)
    return fail(Code::invalid, fmt::format("--bar {}: the plan's [song] has no tempo; write a time with --at", bar));
  if (bar < 1) return fail(Code::invalid, fmt::format("--bar {}: bars are counted from 1", bar));
  constexpr std::int64_t kMostBars = 1'000'000;
  const auto last = song.length ? last_bar(*grid, *song.length) : kMostBars;
  if (bar > last)
    return fail(Code::invalid,
                fmt::format("--bar {} is past the end of the song: its last bar is {}, at {}; name a bar "
                            "from 1 to {}",
                            bar, last, song_time(grid->start_of(last)), last));
  return grid->start_of(bar);
}

}  // namespace

void declare_filter(CLI::App& command, FilterWords& words) {
  command.add_option("WORDS", words.words, "words that its name, tags or notes must hold");
  command.add_option("--kind", words.kind, "performance, b-roll or slow-mo")
      ->check(written_as(parse_kind, kKindChoice));
  command.add_option("--member", words.member, "who is seen");
  command.add_option("--section", words.section, "a section it is tagged with or placed in");
  command.add_option("--look", words.look, "its look, or a part of it");
  command.add_option("--angle", words.angle, "its angle, or a part of it");
  command.add_option("--gamma", words.gamma, "its gamma, as in s-log3");
  command.add_option("--min-rate", words.min_rate, "captured at this many frames a second or more")
      ->check(written_as(parse_rate, "write a rate, as in 60 or 119.88"));
  command.add_option("--roll", words.roll, "its roll, as in R001");
  auto* at = command.add_option("--at", words.at, "holds this moment of the song, as in 1:42.5")
                 ->type_name("SONGTIME")
                 ->check(written_as(parse_song_time, "write minutes and seconds, as in 1:42.5"));
  command.add_option("--bar", words.bar, "holds the first beat of this bar, as in 41")->excludes(at);
  command.add_option("--rating", words.rating, "its rating, as in 4, or 4+ for 4 and better")
      ->check(written_as(parse_rating, "write a number from 1 to 5, or one and better, as in 4+"));
  command.add_flag("--problem", words.problem, "something is wrong with it");
}

Result<ClipFilter> filter_of(const FilterWords& words, const Plan& plan) {
  ClipFilter filter;
  filter.words = words.words;
  filter.look = words.look;
  filter.angle = words.angle;
  filter.gamma = words.gamma;
  filter.roll = words.roll;
  filter.problem = words.problem;
  if (words.kind) filter.kind = parse_kind(*words.kind);
  if (words.member) filter.member = TRY(choose_name(*words.member, member_names(plan), "member"));
  if (words.section) filter.section = TRY(choose_name(*words.section, section_names(plan), "section"));
  if (words.rating) filter.rating = parse_rating(*words.rating);
  if (words.min_rate) filter.min_rate = parse_rate(*words.min_rate);
  if (words.at) filter.at = TRY(moment_of_song("--at", *words.at, plan.song));
  if (words.bar) filter.at = TRY(start_of_bar(*words.bar, plan.song));
  return filter;
}

bool passes(const Clip& clip, const ClipFilter& filter, const Plan& plan) {
  const auto& want = filter;
  return std::all_of(want.words.begin(), want.words.end(), [&](const auto& w) { return has_word(clip, w, plan); }) &&
         (!want.kind || clip.judgement.kind == want.kind) && (!want.member || holds(clip.members, *want.member)) &&
         (!want.section || holds(sections_of(clip, plan), *want.section)) && has_part(clip.look, want.look) &&
         has_part(clip.angle, want.angle) && is_rated(clip.rating, want.rating) &&
         is_gamma(clip.facts.gamma, want.gamma) && agrees(clip.roll, want.roll) &&
         (!want.min_rate || fast_enough(clip.facts, *want.min_rate)) &&
         (!want.at || has_moment(clip.placement, *want.at)) && (!want.problem || !clip.facts.problems.empty());
}

}  // namespace everytake::cli
