#include <fmt/format.h>

#include <CLI/App.hpp>

#include "base/text.h"
#include "cli/answer.h"
#include "cli/shoot.h"
#include "cli/stop.h"
#include "os/paths.h"
#include "pipeline/pipeline.h"
#include "pipeline/rebuild.h"

namespace everytake::cli {
namespace {

struct Options {
  std::string destination;
  bool no_verify = false;
};

struct Outcome {
  pipeline::Rebuilt rebuilt;
  std::optional<pipeline::VerifyReport> verified;
};

// Where the shoot is to be: unlike elsewhere, a folder without a plan will do.
Path shoot_folder(const Session& session) {
  if (session.shoot) return absolute_folder(*session.shoot, session);
  if (session.shoot_from_environment) return absolute_folder(*session.shoot_from_environment, session);
  return find_shoot(session).value_or(session.folder);
}

Result<Outcome> rebuild_shoot(const Options& options, Session& session, std::stop_token stop) {
  const auto folder = shoot_folder(session);
  const bool made = make_folders(folder).value_or(false);  // opening it will say why it can't be made
  auto rebuilt = pipeline::rebuild(absolute_folder(options.destination, session), folder, stop);
  if (!rebuilt) {
    if (made) remove_if_empty(folder);
    return tl::unexpected(rebuilt.error());
  }
  Outcome outcome{std::move(*rebuilt), std::nullopt};
  if (options.no_verify) return outcome;
  const auto shoot = pipeline::load_shoot_for_copies(folder);
  if (!shoot) return fail(Code::invalid, shoot.error().at(0));
  remark_wrong(*shoot, session);
  const auto catalogue = TRY(catalogue::Catalogue::open(shoot->catalogue()));
  std::vector<PlannedDestination> planned;
  for (const auto& row : TRY(catalogue->destinations()))
    if (row.name == outcome.rebuilt.destination) {
      PlannedDestination here;
      for (const auto& each : shoot->plan.destinations)
        if (each.name == row.name) here = each;
      here.name = row.name;
      here.path = row.path;
      planned.push_back(std::move(here));
    }
  auto destinations = pipeline::open_destinations(planned);
  const SystemClock clock;
  Progress line(session.err, session.err_screen, session.quiet);
  pipeline::Pipeline pipeline(*catalogue, shoot->plan, clock);
  outcome.verified = TRY(pipeline.verify(
      destinations, {},
      [&](auto done, auto total) {
        line.update(fmt::format("{} of {} read back", bytes_text(done), bytes_text(total)), clock.steady());
      },
      stop));
  line.clear();
  TRY(pipeline.study(destinations, {}, stop));
  return outcome;
}

std::vector<Problem> problems_of(const Outcome& outcome) {
  auto all = outcome.rebuilt.problems;
  if (outcome.verified) all.insert(all.end(), outcome.verified->problems.begin(), outcome.verified->problems.end());
  return all;
}

std::string unproven_text(const pipeline::VerifyReport& verified) {
  const auto unproven = verified.destinations.at(0).unproven;
  return unproven == 0 ? "" : fmt::format("; {} equal, but read from memory for all that can be seen", unproven);
}

void print(const Outcome& outcome, Session& session) {
  const auto& [rebuilt, verified] = outcome;
  const std::size_t count = verified ? verified->destinations.at(0).verified : 0;
  if (session.json) {
    Json json{{"destination", rebuilt.destination},
              {"from", rebuilt.from_catalogue ? "catalogue" : "lists"},
              {"plan_restored", rebuilt.plan_restored},
              {"rolls", rebuilt.rolls},
              {"files", rebuilt.files},
              {"verified_files", verified ? Json(count) : Json(nullptr)},
              {"problems", problems_json(problems_of(outcome))}};
    print_json(json, session);
    return;
  }
  session.out << fmt::format("{} with {}, from {} at \"{}\"{}\n", counted(rebuilt.rolls, "roll"),
                             counted(rebuilt.files, "file"),
                             rebuilt.from_catalogue ? "the catalogue kept" : "the lists", shown(rebuilt.destination),
                             rebuilt.plan_restored ? "; the plan too" : "");
  if (verified)
    session.out << fmt::format("{} of them read back there and found whole{}\n", count, unproven_text(*verified));
  else
    session.out << "nothing was read back: no copy counts as verified until \"everytake verify\" has read it\n";
  for (const auto& problem : problems_of(outcome))
    session.out << painted("  ! " + problem.message, Tone::warning, session.out_screen) << '\n';
}

pipeline::Exit exit_of(const Outcome& outcome) {
  const auto problems = problems_of(outcome);
  for (const auto& problem : problems)
    if (problem.code == ProblemCode::bytes_differ) return pipeline::Exit::differs;
  const bool whole = !outcome.verified || outcome.verified->destinations.at(0).is_whole();
  return problems.empty() && whole ? pipeline::Exit::done : pipeline::Exit::no;
}

}  // namespace

Run declare_rebuild(CLI::App& command) {
  const auto options = std::make_shared<Options>();
  command.add_option("DESTINATION", options->destination, "the folder that holds the copies")->required();
  command.add_flag("--no-verify", options->no_verify, "don't read the copies back now");
  return [options](Session& session) {
    const StopOnSignal stop;
    const auto outcome = rebuild_shoot(*options, session, stop.token());
    if (!outcome) return stop.exit().value_or(report(outcome.error(), session));
    print(*outcome, session);
    return stop.exit().value_or(exit_of(*outcome));
  };
}

}  // namespace everytake::cli
