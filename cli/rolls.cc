#include <fmt/format.h>

#include <CLI/App.hpp>
#include <algorithm>

#include "base/text.h"
#include "catalogue/catalogue.h"
#include "cli/answer.h"
#include "cli/shoot.h"

namespace everytake::cli {
namespace {

using At = catalogue::RollSummary::At;

bool whole(const catalogue::RollSummary& roll, const At& at) {
  return at.verified == roll.files;
}

std::string state_text(const catalogue::RollSummary& roll, const At& at) {
  if (whole(roll, at)) return "verified";
  if (at.verified + at.failed + at.begun == 0) return "no copy yet";
  return fmt::format("{} verified, {} unfinished, {} failed", at.verified, roll.files - at.verified - at.failed,
                     at.failed);
}

std::string text_of(const std::vector<catalogue::RollSummary>& rolls, const Screen& screen) {
  using Align = Column::Align;
  std::vector<std::vector<Cell>> rows;
  for (const auto& roll : rolls)
    for (const auto& at : roll.destinations)
      rows.push_back({{roll.roll.name},
                      {roll.roll.card_label},
                      {std::to_string(roll.files)},
                      {bytes_text(roll.bytes)},
                      {at.destination},
                      {state_text(roll, at), whole(roll, at) ? Tone::good : Tone::bad}});
  auto text =
      table({{"roll"}, {"card", Align::left, true}, {"files", Align::right}, {"size", Align::right}, {"at"}, {"state"}},
            rows, screen);
  for (const auto& roll : rolls)
    if (!roll.problems.empty()) text += roll.roll.name + ":\n" + problems_text(roll.problems, screen);
  return text;
}

Json json_of(const std::vector<catalogue::RollSummary>& rolls) {
  Json list = Json::array();
  for (const auto& sum : rolls) {
    Json roll{{"name", sum.roll.name}, {"opened_at", iso8601(sum.roll.opened_at)}};
    put_name(roll, "card", sum.roll.card_label);
    roll["files"] = sum.files;
    roll["bytes"] = sum.bytes;
    roll["destinations"] = Json::array();
    for (const auto& at : sum.destinations) {
      Json each;
      put_name(each, "name", at.destination);
      each["state"] = whole(sum, at) ? "verified" : at.failed > 0 ? "failed" : "incomplete";
      each["verified_files"] = at.verified;
      each["failed_files"] = at.failed;
      roll["destinations"].push_back(std::move(each));
    }
    roll["problems"] = problems_json(sum.problems);
    list.push_back(std::move(roll));
  }
  return {{"rolls", std::move(list)}};
}

auto is_at(const std::string& name) {
  return [&name](const At& at) { return at.destination == name; };
}

// With the plan's destinations that hold nothing of a roll: they shall.
Result<std::vector<catalogue::RollSummary>> rolls_of(const pipeline::Shoot& shoot) {
  const auto catalogue = TRY(look_into_catalogue(shoot));
  auto rolls = TRY(catalogue->roll_summaries());
  for (auto& roll : rolls)
    for (const auto& planned : shoot.plan.destinations)
      if (std::none_of(roll.destinations.begin(), roll.destinations.end(), is_at(planned.name)))
        roll.destinations.push_back({.destination = planned.name});
  return rolls;
}

}  // namespace

Run declare_rolls(CLI::App&) {
  return [](Session& session) {
    const auto shoot = load_shoot_for_copies(session);
    if (!shoot) return shoot.error();
    const auto rolls = rolls_of(*shoot);
    if (!rolls) return report(rolls.error(), session);
    if (session.json)
      print_json(json_of(*rolls), session);
    else if (rolls->empty())
      remark("No rolls yet: offload a card first.", session);
    else
      session.out << text_of(*rolls, session.out_screen);
    return pipeline::Exit::done;
  };
}

}  // namespace everytake::cli
