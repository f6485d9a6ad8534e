#include <fmt/format.h>

#include <CLI/App.hpp>
#include <algorithm>
#include <map>

#include "base/text.h"
#include "cli/answer.h"
#include "cli/choose.h"
#include "cli/clip_filter.h"
#include "cli/shoot.h"
#include "export/json.h"

namespace everytake::cli {
namespace {

std::string short_rate(const std::optional<Rational>& rate) {
  return rate ? fmt::format("{:.5g}", rate->value()) : "?";
}

std::string length_of(const Clip& clip) {
  return clip.facts.duration ? fmt::format("{:.1f} s", seconds(*clip.facts.duration)) : "?";
}

// What was said of a clip, in one line that may be as long as it needs to be.
std::string said_of(const Clip& clip, const Plan& plan) {
  std::string text;
  for (const auto& part : {joined(sections_of(clip, plan)), joined(clip.members), clip.look.value_or("")})
    if (!part.empty()) text += (text.empty() ? "" : "; ") + part;
  return text;
}

// A line of columns a clip, and one below it for what was said of it.
std::string found_text(const std::vector<Clip>& clips, const ClipFilter& filter, const Plan& plan,
                       const Screen& screen) {
  using Align = Column::Align;
  std::vector<Column> columns{{"clip"}, {"kind"}, {"length", Align::right}, {"shot at", Align::right}, {"gamma"}};
  if (filter.at) columns.push_back({"open at", Align::right});
  std::vector<std::vector<Cell>> rows;
  std::map<std::string, int> named;
  for (const auto& clip : clips) ++named[clip.roll + "/" + clip.name];
  for (const auto& clip : clips) {
    auto name = clip.roll + "/" + clip.name;
    if (named[name] > 1) name += fmt::format(" (id {})", clip.id.value);
    std::vector<Cell> row{{std::move(name)},
                          {clip.judgement.kind ? to_string(*clip.judgement.kind) : "?"},
                          {length_of(clip)},
                          {short_rate(clip.facts.capture_rate ? clip.facts.capture_rate : clip.facts.frame_rate)},
                          {clip.facts.gamma.value_or("?")}};
    if (filter.at) row.push_back({song_time(clip_time_at(clip, *filter.at))});
    row.push_back({said_of(clip, plan), Tone::faint});
    rows.push_back(std::move(row));
  }
  std::string text = table(columns, rows, screen);
  if (filter.problem)
    for (const auto& clip : clips)
      for (const auto& problem : clip.facts.problems)
        text += painted(fmt::format("! {}: {}", clip.roll, problem.message), Tone::warning, screen) + "\n";
  return text;
}

}  // namespace

Run declare_find(CLI::App& command) {
  const auto words = std::make_shared<FilterWords>();
  declare_filter(command, *words);
  return [words](Session& session) {
    const auto shoot = load_shoot(session);
    if (!shoot) return shoot.error();
    const auto filter = filter_of(*words, shoot->plan);
    if (!filter) return report(filter.error(), session);
    const auto all = clips_of(*shoot);
    if (!all) return report(all.error(), session);
    std::vector<Clip> found;
    std::copy_if(all->begin(), all->end(), std::back_inserter(found),
                 [&](const Clip& clip) { return passes(clip, *filter, shoot->plan); });
    if (session.json) {
      Json list = Json::array();
      for (const auto& clip : found) {
        list.push_back(exports::clip_json(clip, shoot->plan));
        if (filter->at) list.back()["open_at_s"] = seconds(clip_time_at(clip, *filter->at));
      }
      print_json({{"clips", std::move(list)}}, session);
    } else if (found.empty()) {
      remark(all->empty() ? "No clips yet: offload a card first." : "No clip matches: everytake find lists all.",
             session);
    } else {
      session.out << found_text(found, *filter, shoot->plan, session.out_screen);
    }
    return pipeline::Exit::done;
  };
}

}  // namespace everytake::cli
