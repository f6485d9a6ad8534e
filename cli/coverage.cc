#include "coverage/coverage.h"

#include <fmt/format.h>

#include <CLI/App.hpp>
#include <algorithm>

#include "cli/answer.h"
#include "cli/coverage_table.h"
#include "cli/shoot.h"
#include "cli/song_strip.h"
#include "coverage/json.h"

namespace everytake::cli {
namespace {

// What is there and not counted: a table that is short because of it must not look like a day that was.
void remark_on_uncounted(const std::vector<Clip>& clips, Session& session) {
  const auto say = [&](auto&& is_uncounted, const char* one, const char* many) {
    const auto count = std::count_if(clips.begin(), clips.end(), is_uncounted);
    if (count == 1) remark(one, session);
    if (count > 1) remark(fmt::format("{} {}", count, many), session);
  };
  say([](const Clip& clip) { return !clip.judgement.kind; },
      "1 clip of unknown kind is not counted: everytake study analyses it, tag --kind says it",
      "clips of unknown kind are not counted: everytake study analyses them, tag --kind says it");
  say(
      [](const Clip& clip) {
        return clip.judgement.kind == Kind::performance && clip.placement.state != Placement::State::placed;
      },
      "1 performance has no place in the song and is no take of anything",
      "performances have no place in the song and are no take of anything");
}

std::string strip_or_reason(const Plan& plan, std::span<const Clip> clips, const Screen& screen) {
  auto strip = song_strip(plan, clips, screen);
  return strip.empty() ? "The song's length is not known: write file or length into the plan's [song].\n" : strip;
}

struct Options {
  bool check = false, strip = false, all = false;
};

pipeline::Exit coverage_command(const Options& options, Session& session) {
  const auto shoot = load_shoot(session);
  if (!shoot) return shoot.error();
  const auto clips = clips_of(*shoot);
  if (!clips) return report(clips.error(), session);
  const auto covered = coverage::coverage(shoot->plan, *clips);
  const auto runs = coverage::next_runs(shoot->plan, covered);
  if (session.json)
    print_json(coverage::coverage_json(covered, runs), session);
  else
    session.out << coverage_table(covered, runs, options.all, session.out_screen);
  if (options.strip && !session.json) session.out << "\n" << strip_or_reason(shoot->plan, *clips, session.out_screen);
  remark_on_uncounted(*clips, session);
  return options.check && !covered.complete() ? pipeline::Exit::no : pipeline::Exit::done;
}

}  // namespace

Run declare_coverage(CLI::App& command) {
  auto options = std::make_shared<Options>();
  command.add_flag("--check", options->check, "exit 1 while the plan wants more");
  command.add_flag("--all", options->all, "every run that is left, and all that is missing");
  command.add_flag("--strip", options->strip, "also show where in the song each clip lies, as wide as the terminal");
  return [options](Session& session) { return coverage_command(*options, session); };
}

}  // namespace everytake::cli
