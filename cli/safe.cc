#include <CLI/App.hpp>

#include "cli/answer.h"
#include "cli/card.h"
#include "cli/shoot.h"
#include "cli/stop.h"
#include "cli/verdict.h"
#include "pipeline/copy_status.h"
#include "pipeline/pipeline.h"

namespace everytake::cli {
namespace {

Result<offload::Verdict> check_safe(const pipeline::Shoot& shoot, const std::string& name, bool deep,
                                    const Session& session, std::stop_token stop) {
  const auto card = TRY(open_card(name, session));
  const auto catalogue = TRY(look_into_catalogue(shoot));
  auto destinations =
      pipeline::open_destinations(pipeline::known_destinations(shoot.plan, TRY(catalogue->destinations())));
  const SystemClock clock;
  return pipeline::Pipeline(*catalogue, shoot.plan, clock)
      .check_safe(card.as_card(shoot.folder), destinations, deep, std::move(stop));
}

}  // namespace

Run declare_safe(CLI::App& command) {
  struct Options {
    std::string card;
    bool deep = false;
  };
  const auto options = std::make_shared<Options>();
  command.add_option("CARD", options->card, "the mounted card, or any folder")->required();
  command.add_flag("--deep", options->deep, "read every byte of the card again");
  return [options](Session& session) {
    const StopOnSignal stop;
    const auto shoot = load_shoot_for_copies(session);
    if (!shoot) return shoot.error();
    const auto verdict = check_safe(*shoot, options->card, options->deep, session, stop.token());
    if (!verdict) {
      const auto exit = report(verdict.error(), session);
      return stop.exit().value_or(exit);
    }
    if (session.json)
      print_json(verdict_json(*verdict), session);
    else
      session.out << verdict_text(*verdict, options->card, session.out_screen);
    return verdict->safe ? pipeline::Exit::done : pipeline::Exit::no;
  };
}

}  // namespace everytake::cli
