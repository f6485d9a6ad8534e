#include <fmt/format.h>

#include <CLI/App.hpp>
#include <algorithm>

#include "base/text.h"
#include "cli/answer.h"
#include "cli/card.h"
#include "cli/offload_report.h"
#include "cli/shoot.h"
#include "cli/stop.h"
#include "cli/values.h"
#include "os/posix_fs.h"
#include "pipeline/copy_progress.h"
#include "pipeline/kept_song.h"
#include "pipeline/on_card.h"
#include "pipeline/pipeline.h"

namespace everytake::cli {
namespace {

struct Options {
  std::string card;
  std::vector<std::string> to;
  bool no_study = false;
  bool dry_run = false;
  bool twice = false;
};

// --to NAME=PATH, all of them, in place of the plan's destinations. What the plan says of a name still holds.
Result<std::vector<PlannedDestination>> destinations_of(const Options& options, const Plan& plan,
                                                        const Session& session) {
  if (options.to.empty()) return plan.destinations;
  std::vector<PlannedDestination> chosen;
  for (const auto& each : options.to) {
    const auto equals = each.find('=');
    const auto name = each.substr(0, equals);
    const auto planned =
        std::find_if(plan.destinations.begin(), plan.destinations.end(), [&](const auto& p) { return p.name == name; });
    PlannedDestination destination = planned == plan.destinations.end() ? PlannedDestination{} : *planned;
    destination.name = name;
    destination.path = absolute_folder(each.substr(equals + 1), session);
    for (const auto& other : chosen)
      if (other.name == name || other.path == destination.path)
        return fail(Code::invalid, fmt::format("--to {}: that name or folder is given twice", shown(each)));
    chosen.push_back(std::move(destination));
  }
  if (chosen.size() < 2) return fail(Code::invalid, "--to: name at least two destinations, on two disks");
  return chosen;
}

// Shows on `err` how the copying goes.
class Teller {
 public:
  Teller(Session& session, const Clock& clock) : clock_(clock), line_(session.err, session.err_screen, session.quiet) {}

  pipeline::IngestWatcher watcher() {
    pipeline::IngestWatcher watcher;
    watcher.started = [this](const pipeline::IngestWatcher::Start& start) {
      glance_ = pipeline::glance_at(start);
      begun_ = clock_.steady();
    };
    watcher.progress = [this](const offload::CopyProgress& progress) {
      const auto now = clock_.steady();
      pipeline::look_again(glance_, progress, std::chrono::duration_cast<Micros>(now - begun_));
      if (glance_.to_read > 0) line_.update(pipeline::progress_text(glance_), now);
    };
    return watcher;
  }

  void clear() { line_.clear(); }

 private:
  const Clock& clock_;
  Progress line_;
  pipeline::CopyGlance glance_;
  std::chrono::steady_clock::time_point begun_{};
};

// Why there is no verdict, said before all else: the rest of what went wrong may fill the screen.
Problem not_judged(const Error& error) {
  return {ProblemCode::not_judged, "", "",
          error.code == Code::cancelled
              ? "stopped before the card was looked at again: ask \"everytake safe CARD\""
              : "the card could not be looked at again: " + error.what + "; ask \"everytake safe CARD\""};
}

struct Outcome {
  pipeline::IngestReport report;
  std::optional<offload::Verdict> verdict;  // nullopt where the card could not be looked at again
  std::vector<Clip> clips;
};

class Offload {
 public:
  Offload(const pipeline::Shoot& shoot, const Options& options, Session& session, const StopOnSignal& stop)
      : shoot_(shoot), options_(options), session_(session), stop_(stop) {}

  Result<Outcome> run() {
    const auto planned = TRY(destinations_of(options_, shoot_.plan, session_));
    TRY(pipeline::check_shoot_folder(planned, shoot_.folder, shoot_.plan.slug()));
    const auto card = TRY(open_card(options_.card, session_));
    const pipeline::Card seen = card.as_card(shoot_.folder);
    auto destinations = pipeline::open_destinations(planned);
    TRY(pipeline::check_not_on_card(destinations, seen));
    TRY(pipeline::check_disks(destinations));
    const auto catalogue =
        TRY(options_.dry_run ? look_into_catalogue(shoot_) : catalogue::Catalogue::open(shoot_.catalogue()));
    pipeline::KeptSong song;
    pipeline::Pipeline pipeline(*catalogue, shoot_.plan, clock_, [&](std::stop_token stop) {
      return song.of(*catalogue, shoot_.folder, shoot_.plan.song, std::move(stop));
    });

    Teller teller(session_, clock_);
    Outcome outcome;
    outcome.report =
        TRY(pipeline.ingest(seen, destinations, {options_.dry_run, options_.twice}, teller.watcher(), stop_.token()));
    teller.clear();
    for (const auto& each : outcome.report.remarks) remark(each, session_);
    if (options_.dry_run || outcome.report.ended) return outcome;
    if (!options_.no_study)
      if (const auto studied = study(pipeline, destinations); !studied && !stop_.exit())
        remark("Not every clip is studied: " + studied.error().what, session_);
    if (auto verdict = pipeline.check_safe(seen, destinations, false, stop_.token()))
      outcome.verdict = std::move(*verdict);
    else
      outcome.report.problems.insert(outcome.report.problems.begin(), not_judged(verdict.error()));
    for (auto& clip : TRY(clips_of(shoot_)))
      if (std::find(outcome.report.clips.begin(), outcome.report.clips.end(), clip.id) != outcome.report.clips.end())
        outcome.clips.push_back(std::move(clip));
    return outcome;
  }

 private:
  Result<void> study(pipeline::Pipeline& pipeline, std::span<pipeline::OpenDestination> destinations) const {
    const auto studied = TRY(pipeline.study(destinations, {}, stop_.token()));
    if (studied.why) remark("Not every clip is studied: " + studied.why->what, session_);
    const auto folder = TRY(PosixFs::open_at(shoot_.folder));
    TRY(pipeline.pictures(destinations, *folder, stop_.token()));
    return {};
  }

  const pipeline::Shoot& shoot_;
  const Options& options_;
  Session& session_;
  const StopOnSignal& stop_;
  const SystemClock clock_;
};

pipeline::Exit run_offload(const Options& options, Session& session) {
  const SystemClock clock;
  const auto begun = clock.steady();
  const StopOnSignal stop;
  const auto shoot = load_shoot_for_copies(session);
  if (!shoot) return shoot.error();
  const auto outcome = Offload(*shoot, options, session, stop).run();
  if (!outcome) {
    const auto exit = report(outcome.error(), session);
    return stop.exit().value_or(exit);
  }
  const auto& [visit, verdict, clips] = *outcome;
  if (visit.ended) report(*visit.ended, session);
  if (session.json)
    print_json(
        offload_json(visit, verdict, clips, shoot->plan, std::chrono::duration_cast<Micros>(clock.steady() - begun)),
        session);
  else
    session.out << (options.dry_run ? dry_run_text(visit, session.out_screen)
                                    : offload_text(visit, verdict, clips, session.out_screen));
  const bool nothing_to_say = options.dry_run && visit.problems.empty();
  return stop.exit().value_or(nothing_to_say ? pipeline::Exit::done : pipeline::exit_of(visit));
}

}  // namespace

Run declare_offload(CLI::App& command) {
  const auto options = std::make_shared<Options>();
  command.add_option("CARD", options->card, "the mounted card, or any folder")->required();
  command.add_option("--to", options->to, "copy to these instead of the plan's destinations; at least two")
      ->type_name("NAME=PATH")
      ->check(written_as(
          [](const std::string& to) {
            const auto equals = to.find('=');
            return equals != 0 && equals != std::string::npos && equals + 1 < to.size();
          },
          "write it as NAME=PATH"));
  command.add_flag("--no-study", options->no_study, "don't analyse the clips");
  command.add_flag("--dry-run", options->dry_run, "only say what would be copied, and whether it fits");
  command.add_flag("--twice", options->twice, "read the card a second time and compare");
  return [options](Session& session) { return run_offload(*options, session); };
}

}  // namespace everytake::cli
