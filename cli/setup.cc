#include "setup/assign.h"

#include <fmt/format.h>

#include <CLI/App.hpp>
#include <algorithm>
#include <map>

#include "base/text.h"
#include "cli/answer.h"
#include "cli/choose.h"
#include "cli/local_moment.h"
#include "cli/shoot.h"
#include "cli/values.h"
#include "pipeline/setups.h"

namespace everytake::cli {
namespace {

struct Options {
  std::vector<std::string> members, sections;
  std::optional<std::string> kind, look, angle, at;
  bool same = false, end = false, undo = false;
  bool says_something() const { return kind || look || angle || !members.empty() || !sections.empty(); }
};

// A setup with its clips, as the day's list shows it.
struct Listed {
  Setup said;
  std::vector<std::string> clips;  // "R001/C0001"
};

struct Day {
  std::vector<Listed> setups;
  std::vector<std::string> outside;  // clips of no setup, with a time of recording
  std::size_t without_time = 0;      // clips that tell no time of recording
  std::vector<setup::ClockDoubt> doubts;
};

std::string name_of(const Clip& clip) {
  return clip.roll + "/" + clip.name;
}

Result<Day> day_of(const catalogue::Catalogue& catalogue, Instant now) {
  Day day;
  const auto setups = TRY(catalogue.setups());
  const auto clocks = TRY(catalogue.camera_clocks());
  const auto clips = TRY(catalogue.clips());
  std::map<ClipId, SetupId> assigned;
  for (const auto& each : setup::assign(setups, clocks, clips)) assigned[each.clip] = each.setup;
  std::map<SetupId, std::vector<std::string>> named;
  for (const auto& clip : clips) {
    if (const auto it = assigned.find(clip.id); it != assigned.end())
      named[it->second].push_back(name_of(clip));
    else if (clip.facts.recorded_at)
      day.outside.push_back(name_of(clip));
    else
      ++day.without_time;
  }
  for (const auto& each : setups) day.setups.push_back({each, std::move(named[each.id])});
  day.doubts = setup::doubtful_clocks(setups, clocks, clips, now);
  return day;
}

// ---- Saying -------------------------------------------------------------------------------------------------------

Result<std::vector<std::string>> chosen(const std::vector<std::string>& words, const std::vector<std::string>& names,
                                        const char* noun) {
  std::vector<std::string> all;
  for (const auto& word : words) {
    auto name = TRY(choose_name(word, names, noun));
    if (std::ranges::find(all, name) == all.end()) all.push_back(std::move(name));
  }
  return all;
}

Result<Setup> setup_of(const Options& options, const Plan& plan, const std::vector<Setup>& setups, Instant now) {
  Setup said;
  said.at = options.at ? *parse_local_moment(*options.at, now) : now;
  if (options.end) return said;
  if (options.same) {
    const auto* before = setup::setup_at(setups, said.at);
    if (!before)
      return fail(Code::invalid, "--same: no setup holds at that time; say it whole, with --member and --look");
    const auto at = said.at;
    said = *before;
    said.at = at;
  }
  if (options.kind) said.kind = parse_kind(*options.kind);
  if (!options.members.empty()) said.members = TRY(chosen(options.members, member_names(plan), "member"));
  if (!options.sections.empty()) said.sections = TRY(chosen(options.sections, section_names(plan), "section"));
  if (options.look) said.look = *options.look;
  if (options.angle) said.angle = *options.angle;
  return said;
}

// ---- Telling ------------------------------------------------------------------------------------------------------

std::string said_text(const Setup& said) {
  if (said.is_end()) return "(ended)";
  std::string text;
  const auto add = [&](const std::string& part) {
    if (!part.empty()) text += (text.empty() ? "" : "; ") + part;
  };
  add(joined(said.members));
  add(said.look.value_or(""));
  add(said.angle.value_or(""));
  add(said.kind ? to_string(*said.kind) : "");
  add(joined(said.sections));
  return text;
}

std::string clips_text(const std::vector<std::string>& clips) {
  if (clips.empty()) return "none yet";
  if (clips.size() == 1) return clips.front();
  return fmt::format("{}: first {}, last {}", clips.size(), clips.front(), clips.back());
}

std::string day_text(const Day& day, const Screen& screen) {
  std::vector<std::vector<Cell>> rows;
  for (const auto& [said, clips] : day.setups)
    rows.push_back({{local_time(said.at).substr(0, std::string_view("2026-11-25 14:32").size())},
                    {said_text(said)},
                    {said.is_end() ? "" : clips_text(clips)}});
  auto text = table({{"from"}, {"setup", Column::Align::left, true}, {"clips"}}, rows, screen);
  if (day.without_time > 0)
    text += fmt::format("\n{} no time of recording, and so no setup: everytake tag says what they are\n",
                        day.without_time == 1 ? "1 clip has" : fmt::format("{} clips have", day.without_time));
  if (!day.outside.empty()) text += fmt::format("\nin no setup: {}\n", shown(clips_text(day.outside)));
  for (const auto& doubt : day.doubts)
    text +=
        painted(fmt::format(
                    "\nThe clock of camera {} seems {} {}: {} of it {} outside every setup, and would lie in "
                    "them. If that is so: everytake clock --camera \"{}\" --ahead {}",
                    shown(doubt.camera),
                    counted(static_cast<std::size_t>(std::chrono::abs(doubt.ahead) / std::chrono::hours(1)), "hour"),
                    doubt.ahead > Micros::zero() ? "ahead" : "behind", counted(doubt.clips, "clip"),
                    doubt.clips == 1 ? "lies" : "lie", shown(doubt.camera), setup::ahead_text(doubt.ahead)),
                Tone::warning, screen) +
        "\n";
  return text;
}

Json setup_json(const Listed& each) {
  const auto& said = each.said;
  const auto or_null = [](const std::optional<std::string>& text) { return text ? Json(*text) : Json(); };
  return {{"id", said.id.value},        {"at", iso8601(said.at)},
          {"end", said.is_end()},       {"kind", said.kind ? Json(to_string(*said.kind)) : Json()},
          {"members", said.members},    {"sections", said.sections},
          {"look", or_null(said.look)}, {"angle", or_null(said.angle)},
          {"clips", each.clips}};
}

Json day_json(const Day& day) {
  Json setups = Json::array(), doubts = Json::array();
  for (const auto& each : day.setups) setups.push_back(setup_json(each));
  for (const auto& each : day.doubts)
    doubts.push_back({{"camera", each.camera}, {"ahead_s", seconds(each.ahead)}, {"clips", each.clips}});
  return {{"setups", std::move(setups)},
          {"outside", day.outside},
          {"without_time", day.without_time},
          {"clock_doubts", std::move(doubts)}};
}

// Why it can't be done as it was said; nullptr where it can.
const char* wrong_together(const Options& options) {
  if ((options.end || options.undo) && options.says_something())
    return "--end and --undo stand alone: say the next setup in a call of its own";
  if (options.at && !options.says_something() && !options.same && !options.end)
    return "--at: say how things were from then on, with --member and --look, or --end";
  return nullptr;
}

// Changes what is to be changed and gives the day as it is then.
Result<Day> run(const Options& options, const pipeline::Shoot& shoot, Session& session) {
  const SystemClock clock;
  const bool changes = options.says_something() || options.same || options.end || options.undo;
  if (!changes) return day_of(*TRY(look_into_catalogue(shoot)), clock.now());
  const auto catalogue = TRY(catalogue::Catalogue::open(shoot.catalogue()));
  if (options.undo) {
    const auto gone = TRY(catalogue->take_back_setup());
    if (!gone) return fail(Code::not_found, "there is no setup to take back");
    remark(fmt::format("taken back: {} {}", gone->is_end() ? "the end at" : said_text(*gone) + ", from",
                       local_time(gone->at)),
           session);
  } else {
    const auto setups = TRY(catalogue->setups());
    const auto said = TRY(setup_of(options, shoot.plan, setups, clock.now()));
    TRY(catalogue->add_setup(said));
  }
  TRY(pipeline::apply_setups(*catalogue));
  return day_of(*catalogue, clock.now());
}

}  // namespace

Run declare_setup(CLI::App& command) {
  const auto options = std::make_shared<Options>();
  command.add_option("--member", options->members, "who is in the picture; may be repeated")->allow_extra_args(false);
  command.add_option("--look", options->look, "light and colour, in your words");
  command.add_option("--angle", options->angle, "where the camera stands, in your words");
  command.add_option("--kind", options->kind, "performance, b-roll or slow-mo")
      ->check(written_as(parse_kind, kKindChoice));
  command.add_option("--section", options->sections, "a section of the song; may be repeated")->allow_extra_args(false);
  auto* at =
      command.add_option("--at", options->at, "from when on; now where not said")
          ->type_name("TIME")
          ->check(written_as([](const std::string& text) { return parse_local_moment(text, SystemClock().now()); },
                             kMomentChoice));
  auto* same =
      command.add_flag("--same", options->same,
                       "keep what the setup before says, but for what is given here: members and sections as a whole");
  auto* end = command.add_flag("--end", options->end, "nothing is said of what is recorded from now on");
  auto* undo = command.add_flag("--undo", options->undo,
                                "take back the setup that was said last, whatever its time; again, the one before");
  end->excludes(same)->excludes(undo);
  undo->excludes(same)->excludes(at);
  return [options](Session& session) {
    if (const auto* wrong = wrong_together(*options)) {
      report({Code::invalid, wrong, 0}, session);
      return pipeline::Exit::usage;
    }
    const auto shoot = load_shoot(session);
    if (!shoot) return shoot.error();
    const auto day = run(*options, *shoot, session);
    if (!day) return report(day.error(), session);
    if (session.json)
      print_json(day_json(*day), session);
    else if (day->setups.empty())
      remark("No setup yet: everytake setup --member NAME --look WORDS says how things are from now on.", session);
    else
      session.out << day_text(*day, session.out_screen);
    return pipeline::Exit::done;
  };
}

}  // namespace everytake::cli
