#include "plan/plan.h"

#include <fmt/format.h>

#include <CLI/App.hpp>

#include "base/text.h"
#include "cli/answer.h"
#include "cli/shoot.h"
#include "os/volume.h"
#include "pipeline/destinations.h"
#include "plan/bars.h"

namespace everytake::cli {
namespace {

using namespace std::chrono_literals;

std::string bars_text(const std::optional<plan::BarRange>& bars) {
  if (!bars) return "";
  return bars->count == 1 ? fmt::format("{}", bars->first)
                          : fmt::format("{}-{}", bars->first, bars->first + bars->count - 1);
}

std::string members_text(const Section& section, const Plan& plan) {
  if (plan.members.empty()) return "";
  if (section.members.size() == plan.members.size()) return "everybody";
  return section.members.empty() ? "nobody" : fmt::format("{}", fmt::join(section.members, ", "));
}

std::string heading(const Plan& plan) {
  std::string text = plan.title + (plan.performer.empty() ? "" : ", " + plan.performer) + "\n";
  text += fmt::format("song {}", song_time(*plan.song.length));
  if (plan.song.tempo)
    text += fmt::format(", {} quarter notes a minute in {}/{}, bar 1 at {}", *plan.song.tempo, plan.song.meter.beats,
                        plan.song.meter.unit, song_time(plan.song.first_bar));
  text += fmt::format("\nedit at {} frames a second", rate_text(plan.frame_rate));
  if (plan.gamma) text += ", clips in " + *plan.gamma;
  return text + "\n";
}

std::string sections_table(const Plan& plan, const Screen& screen) {
  using enum Column::Align;
  const std::vector<Column> columns{{"section", left, true}, {"start", right}, {"end", right},    {"bars"},
                                    {"members", left, true}, {"takes", right}, {"b-roll", right}, {"slow-mo", right},
                                    {"looks", right}};
  std::vector<std::vector<Cell>> rows;
  for (const auto& s : plan.sections)
    rows.push_back({s.name, song_time(s.span.start), song_time(s.span.end), bars_text(plan::bars_of(s, plan.song)),
                    members_text(s, plan), fmt::format("{}", s.want.takes), fmt::format("{}", s.want.b_roll),
                    fmt::format("{}", s.want.slow_mo), fmt::format("{}", s.want.looks)});
  return table(columns, rows, screen);
}

// What the numbers of the sections table are.
std::string wants_note(const Plan& plan) {
  std::string text = "Takes, b-roll, slow-mo and looks are how many the plan wants.\n";
  if (plan.member_seconds > 0s && !plan.members.empty())
    text += fmt::format("Each member wants {} of b-roll and slow-mo on screen.\n", length_text(plan.member_seconds));
  return text;
}

std::string destinations_table(std::span<const pipeline::OpenDestination> destinations, const Screen& screen) {
  const std::vector<Column> columns{
      {"destination", Column::Align::left, true}, {"now"}, {"path", Column::Align::left, true}};
  std::vector<std::vector<Cell>> rows;
  for (const auto& d : destinations)
    rows.push_back({d.planned.name,
                    !d.fs                  ? Cell("not there", Tone::warning)
                    : tells_room(d.volume) ? Cell(bytes_text(d.volume.free_bytes) + " free")
                                           : Cell("there"),
                    d.planned.path.string()});
  return table(columns, rows, screen);
}

void print_plan(const pipeline::Shoot& shoot, std::span<const pipeline::OpenDestination> destinations,
                Session& session) {
  const auto& plan = shoot.plan;
  session.out << heading(plan) << '\n' << sections_table(plan, session.out_screen) << '\n';
  session.out << wants_note(plan) << '\n';
  session.out << destinations_table(destinations, session.out_screen);
}

Json song_json(const Song& song) {
  Json json;
  if (song.file)
    put_name(json, "file", song.file->string());
  else
    json["file"] = nullptr;
  json["length_s"] = seconds(*song.length);
  json["tempo"] = maybe(song.tempo);
  json["meter"] = fmt::format("{}/{}", song.meter.beats, song.meter.unit);
  json["first_bar_s"] = seconds(song.first_bar);
  json["playback_speeds"] = song.playback_speeds;
  return json;
}

Json section_json(const Section& section, const Song& song) {
  const auto bars = plan::bars_of(section, song);
  return {{"name", section.name},
          {"start_s", seconds(section.span.start)},
          {"end_s", seconds(section.span.end)},
          {"first_bar", bars ? Json(bars->first) : Json()},
          {"bars", bars ? Json(bars->count) : Json()},
          {"members", section.members},
          {"want",
           {{"takes", section.want.takes},
            {"b_roll", section.want.b_roll},
            {"slow_mo", section.want.slow_mo},
            {"looks", section.want.looks}}}};
}

Json destination_json(const pipeline::OpenDestination& destination) {
  Json json{{"name", destination.planned.name}};
  put_name(json, "path", destination.planned.path.string());
  json["present"] = destination.fs != nullptr;
  json["free_bytes"] = destination.fs && tells_room(destination.volume) ? Json(destination.volume.free_bytes) : Json();
  return json;
}

Json plan_json(const pipeline::Shoot& shoot, std::span<const pipeline::OpenDestination> destinations) {
  const auto& plan = shoot.plan;
  Json json;
  put_name(json, "shoot", shoot.folder.string());
  json["title"] = plan.title;
  json["performer"] = plan.performer;
  json["frame_rate"] = to_string(plan.frame_rate);
  json["gamma"] = maybe(plan.gamma);
  json["song"] = song_json(plan.song);
  json["members"] = Json::array();
  for (const auto& member : plan.members) json["members"].push_back({{"name", member.name}, {"part", member.part}});
  json["sections"] = Json::array();
  for (const auto& section : plan.sections) json["sections"].push_back(section_json(section, plan.song));
  json["member_seconds_want"] = seconds(plan.member_seconds);
  json["destinations"] = Json::array();
  for (const auto& destination : destinations) json["destinations"].push_back(destination_json(destination));
  json["remarks"] = shoot.remarks;
  return json;
}

void add_remarks(std::span<const pipeline::OpenDestination> destinations, std::vector<std::string>& remarks) {
  for (const auto& d : destinations)
    if (!d.fs)
      remarks.push_back(fmt::format("destination \"{}\": {}; connect its disk, or make the folder",
                                    shown(d.planned.name), d.absence));
  if (const auto checked = pipeline::check_disks(destinations); !checked) remarks.push_back(checked.error().what);
}

pipeline::Exit plan_command(Session& session) {
  auto shoot = load_shoot(session);
  if (!shoot) return shoot.error();
  const auto destinations = pipeline::open_destinations(shoot->plan.destinations);
  add_remarks(destinations, shoot->remarks);
  if (session.json)
    print_json(plan_json(*shoot, destinations), session);
  else
    print_plan(*shoot, destinations, session);
  for (const auto& what : shoot->remarks) remark(what, session);
  return pipeline::Exit::done;
}

}  // namespace

Run declare_plan(CLI::App&) {
  return plan_command;
}

}  // namespace everytake::cli
