#include <fmt/format.h>

#include <CLI/App.hpp>
#include <algorithm>

#include "base/text.h"
#include "catalogue/columns.h"
#include "cli/answer.h"
#include "cli/shoot.h"
#include "cli/stop.h"
#include "pipeline/copy_progress.h"
#include "pipeline/copy_status.h"
#include "pipeline/pipeline.h"

namespace everytake::cli {
namespace {

struct Options {
  std::vector<std::string> rolls;
  std::optional<std::string> destination;
  bool repair = false;
};

// The plan's destinations, and the one asked for where only the catalogue knows it any more.
Result<std::vector<PlannedDestination>> destinations_of(const Options& options, const pipeline::Shoot& shoot,
                                                        const catalogue::Catalogue& catalogue) {
  auto planned = shoot.plan.destinations;
  if (!options.destination) return planned;
  std::string names;
  for (const auto& each : planned) {
    if (each.name == *options.destination) return planned;
    names += (names.empty() ? "\"" : ", \"") + shown(each.name) + "\"";
  }
  for (auto& known : pipeline::known_destinations(shoot.plan, TRY(catalogue.destinations())))
    if (known.name == *options.destination) {
      planned.push_back(std::move(known));
      return planned;
    }
  return fail(Code::not_found,
              fmt::format("there is no destination \"{}\": there are {}", shown(*options.destination), names));
}

// Reads back, mends where that is asked for, and brings both accounts together.
class Verify {
 public:
  Verify(const pipeline::Shoot& shoot, const Options& options, Session& session, std::stop_token stop)
      : shoot_(shoot),
        options_(options),
        line_(session.err, session.err_screen, session.quiet),
        stop_(std::move(stop)) {}

  Result<pipeline::VerifyReport> run() {
    const auto catalogue = TRY(look_into_catalogue(shoot_));
    pipeline::CopyChoice choice{{}, options_.destination};
    for (const auto& name : options_.rolls) choice.rolls.push_back(TRY(catalogue->find_roll(name)).id);
    const auto planned = TRY(destinations_of(options_, shoot_, *catalogue));
    TRY(pipeline::check_shoot_folder(planned, shoot_.folder, shoot_.plan.slug()));
    auto destinations = pipeline::open_destinations(planned);
    if (options_.repair) TRY(pipeline::check_disks(destinations));
    pipeline::Pipeline pipeline(*catalogue, shoot_.plan, clock_);
    auto report = TRY(pipeline.verify(
        destinations, choice, [this](auto done, auto total) { tell(done, total); }, stop_));
    line_.clear();
    if (options_.repair && !report.ended) {
      add(TRY(pipeline.repair(destinations, choice, repairing(), stop_)), report);
      line_.clear();
    }
    return report;
  }

 private:
  void tell(std::uint64_t done, std::uint64_t total) {
    line_.update(fmt::format("{} of {} read back", bytes_text(done), bytes_text(total)), clock_.steady());
  }

  pipeline::IngestWatcher repairing() {
    pipeline::IngestWatcher watcher;
    watcher.started = [this](const pipeline::IngestWatcher::Start& start) {
      glance_ = pipeline::glance_at(start);
      begun_ = clock_.steady();
    };
    watcher.progress = [this](const offload::CopyProgress& progress) {
      const auto now = clock_.steady();
      pipeline::look_again(glance_, progress, std::chrono::duration_cast<Micros>(now - begun_));
      line_.update(pipeline::progress_text(glance_), now);
    };
    return watcher;
  }

  // What was repaired is a problem no more.
  static void add(const pipeline::RepairReport& repaired, pipeline::VerifyReport& report) {
    for (auto& each : report.destinations) {
      const auto it = repaired.repaired.find(each.name);
      if (it == repaired.repaired.end()) continue;
      each.repaired = it->second;
      each.verified += it->second;
    }
    std::erase_if(report.problems, [&](const Problem& problem) {
      const auto at = std::find_if(report.destinations.begin(), report.destinations.end(),
                                   [&](const auto& each) { return each.name == problem.destination; });
      return at == report.destinations.end() || at->is_whole();
    });
    for (const auto& problem : repaired.problems)
      if (std::find(report.problems.begin(), report.problems.end(), problem) == report.problems.end())
        report.problems.push_back(problem);
    for (const auto& roll : repaired.left_out)
      if (std::find(report.left_out.begin(), report.left_out.end(), roll) == report.left_out.end())
        report.left_out.push_back(roll);
    report.ended = repaired.ended;
  }

  const pipeline::Shoot& shoot_;
  const Options& options_;
  Progress line_;
  const std::stop_token stop_;
  const SystemClock clock_;
  pipeline::CopyGlance glance_;
  std::chrono::steady_clock::time_point begun_{};
};

const char* state_of(const pipeline::CopiesReport& each) {
  if (!each.is_here) return "absent";
  if (each.is_whole()) return "verified";
  return each.differing > 0 ? "differs" : "incomplete";
}

std::string trouble_text(const pipeline::CopiesReport& each) {
  std::string text;
  const std::pair<std::size_t, const char*> counts[] = {{each.differing, "found with other bytes"},
                                                        {each.missing, "gone"},
                                                        {each.unreadable, "unreadable"},
                                                        {each.unproven, "read from memory, not counted"},
                                                        {each.unfinished, "never copied"},
                                                        {each.repaired, "repaired"}};
  for (const auto& [count, what] : counts)
    if (count > 0) text += fmt::format("{}{} {}", text.empty() ? "" : ", ", count, what);
  return text;
}

std::string text_of(const pipeline::VerifyReport& report, const Screen& screen) {
  using Align = Column::Align;
  std::vector<std::vector<Cell>> rows;
  for (const auto& each : report.destinations)
    rows.push_back({{each.name},
                    {state_of(each), each.is_whole() ? Tone::good : Tone::bad},
                    {fmt::format("{} of {}", each.verified, each.files)},
                    {trouble_text(each)}});
  if (std::all_of(report.destinations.begin(), report.destinations.end(), [](auto& each) { return each.files == 0; }))
    return "There is no copy to read back: offload a card first.\n";
  const auto text = table({{"destination"}, {"state"}, {"files", Align::right}, {""}}, rows, screen);
  return text + problems_text(report.problems, screen);
}

Json json_of(const pipeline::VerifyReport& report) {
  Json json{
      {"destinations", Json::array()}, {"problems", problems_json(report.problems)}, {"left_out", report.left_out}};
  for (const auto& each : report.destinations) {
    Json row;
    put_name(row, "name", each.name);
    put_name(row, "path", each.path.string());
    row["state"] = state_of(each);
    row["files"] = each.files;
    row["verified_files"] = each.verified;
    row["bytes"] = each.bytes;
    row["differing_files"] = each.differing;
    row["missing_files"] = each.missing;
    row["unreadable_files"] = each.unreadable;
    row["unproven_files"] = each.unproven;
    row["unfinished_files"] = each.unfinished;
    row["mended_files"] = each.repaired;
    row["readback"] = each.readback ? Json(catalogue::to_string(*each.readback)) : Json(nullptr);
    json["destinations"].push_back(std::move(row));
  }
  return json;
}

pipeline::Exit run_verify(const Options& options, Session& session) {
  const StopOnSignal stop;
  const auto shoot = load_shoot_for_copies(session);
  if (!shoot) return shoot.error();
  const auto report = Verify(*shoot, options, session, stop.token()).run();
  if (!report) return stop.exit().value_or(cli::report(report.error(), session));
  if (!report->left_out.empty())
    remark(fmt::format("{}: left out, because its card is being copied; verify it when that is done",
                       joined(report->left_out)),
           session);
  if (session.json)
    print_json(json_of(*report), session);
  else
    session.out << text_of(*report, session.out_screen);
  return stop.exit().value_or(pipeline::exit_of(*report));
}

}  // namespace

Run declare_verify(CLI::App& command) {
  const auto options = std::make_shared<Options>();
  command.add_option("ROLL", options->rolls, "as R001; all rolls where none is named");
  command.add_option("--destination", options->destination, "only the copies there")->type_name("NAME");
  command.add_flag("--repair", options->repair, "make bad and missing copies anew from good ones");
  return [options](Session& session) { return run_verify(*options, session); };
}

}  // namespace everytake::cli
