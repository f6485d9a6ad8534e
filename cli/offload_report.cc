#include "cli/offload_report.h"

#include <fmt/format.h>

#include <algorithm>

#include "base/text.h"
#include "catalogue/columns.h"
#include "cli/answer.h"
#include "cli/verdict.h"
#include "export/json.h"

namespace everytake::cli {
namespace {

using Destination = pipeline::IngestReport::Destination;
using State = Destination::State;

const char* state_text(State state) {
  switch (state) {
    case State::verified:
      return "verified";
    case State::incomplete:
      return "incomplete";
    case State::failed:
      return "failed";
  }
  return "failed";
}

const char* readback_words(const std::optional<Evidence>& readback) {
  if (!readback) return "";
  switch (*readback) {
    case Evidence::direct:
      return "read back from the disk";
    case Evidence::dropped:
      return "read back past the cache";
    case Evidence::cached:
      return "read back, perhaps from memory";
  }
  return "";
}

std::string heading(const pipeline::IngestReport& report) {
  return fmt::format("{} from \"{}\": {} on the card, {}", report.roll.empty() ? "A new roll" : report.roll,
                     shown(report.label), counted(report.files, "file"), bytes_text(report.bytes));
}

// Files that were kept before, from another folder of the card or a copy of it.
std::string met_text(const pipeline::IngestReport& report) {
  std::string text;
  for (const auto& [roll, files] : report.met)
    text += fmt::format("  {} already in {}, by their bytes: not copied again\n", counted(files, "file"), shown(roll));
  return text;
}

}  // namespace

std::string offload_text(const pipeline::IngestReport& report, const std::optional<offload::Verdict>& verdict,
                         const std::vector<Clip>& clips, const Screen& screen) {
  std::string text = painted(heading(report), Tone::heading, screen) + "\n";
  std::vector<std::vector<Cell>> rows;
  for (const auto& each : report.destinations)
    rows.push_back({{each.name},
                    {state_text(each.state), each.state == State::verified ? Tone::good : Tone::bad},
                    {std::to_string(each.files)},
                    {bytes_text(each.bytes)},
                    {std::to_string(each.copied_files)},
                    {readback_words(each.readback)}});
  using Align = Column::Align;
  text += table(
      {{"destination"}, {"state"}, {"files", Align::right}, {"size", Align::right}, {"copied now", Align::right}, {""}},
      rows, screen);
  text += met_text(report);
  text += problems_text(report.problems, screen);
  std::vector<Problem> of_clips;
  for (const auto& clip : clips)  // each sentence names its file
    of_clips.insert(of_clips.end(), clip.facts.problems.begin(), clip.facts.problems.end());
  if (!clips.empty()) text += counted(clips.size(), "clip") + (of_clips.empty() ? "\n" : ", some with a problem:\n");
  text += problems_text(of_clips, screen);
  return text + (verdict ? verdict_text(*verdict, report.root, screen)
                         : painted("do not wipe this card", Tone::bad, screen) + "\n" +
                               "  next: run the same command again; it goes on where it was\n");
}

std::string dry_run_text(const pipeline::IngestReport& report, const Screen& screen) {
  std::string text = painted(heading(report), Tone::heading, screen) + "\n";
  for (const auto& each : report.destinations)
    text += fmt::format("  {}: {} of {} are there already\n", shown(each.name), each.already_files,
                        counted(report.files, "file"));
  text += met_text(report);
  text += problems_text(report.problems, screen);
  return text + "Nothing was written.\n";
}

Json offload_json(const pipeline::IngestReport& report, const std::optional<offload::Verdict>& verdict,
                  const std::vector<Clip>& clips, const Plan& plan, Micros elapsed) {
  Json json;
  json["roll"] = report.roll.empty() ? Json(nullptr) : Json(report.roll);
  Json card;
  put_name(card, "root", report.root.string());
  put_name(card, "label", report.label);
  card["uuid"] = report.uuid.empty() ? Json(nullptr) : Json(report.uuid);
  card["identity"] = report.identity;
  json["card"] = std::move(card);
  json["files"] = report.files;
  json["bytes"] = report.bytes;
  json["destinations"] = Json::array();
  for (const auto& each : report.destinations) {
    Json destination;
    put_name(destination, "name", each.name);
    put_name(destination, "path", each.path.string());
    destination["state"] = state_text(each.state);
    destination["files"] = each.files;
    destination["bytes"] = each.bytes;
    destination["copied_files"] = each.copied_files;
    destination["already_files"] = each.already_files;
    destination["failed_files"] = each.failed_files;
    destination["readback"] = each.readback ? Json(catalogue::to_string(*each.readback)) : Json(nullptr);
    json["destinations"].push_back(std::move(destination));
  }
  json["already"] = Json::object();
  for (const auto& [roll, files] : report.met) json["already"][roll] = files;
  json["remarks"] = report.remarks;
  json["clips"] = Json::array();
  for (const auto& clip : clips) json["clips"].push_back(exports::clip_json(clip, plan));
  json["problems"] = problems_json(report.problems);
  json["safe_to_wipe"] = verdict && verdict->safe;
  json["elapsed_s"] = seconds(elapsed);
  return json;
}

}  // namespace everytake::cli
