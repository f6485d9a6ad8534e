#include "service/card_visit.h"

#include <fmt/format.h>

#include <algorithm>

#include "base/text.h"
#include "card/recognise.h"
#include "card/scan.h"
#include "offload/identity.h"
#include "os/posix_fs.h"
#include "pipeline/copy_progress.h"
#include "pipeline/on_card.h"
#include "pipeline/pipeline.h"

namespace everytake::service {
namespace {

using namespace std::chrono_literals;

constexpr auto kBetweenProgress = 10s;  // a line each: a card of an hour makes a few hundred
constexpr auto kBetweenStudies = 2s;    // looks for clips whose copies are whole
constexpr std::size_t kMostLines = 12;  // of problems and of reasons, each
constexpr card::ScanLimits kGlance{.depth = 6, .entries = 200'000};  // recordings lie up to four folders deep

std::string structures_text(const std::vector<card::Structure>& structures) {
  std::string text;
  for (const auto structure : structures) text += (text.empty() ? "" : ", ") + std::string(to_string(structure));
  return text;
}

class CardVisit {
 public:
  CardVisit(const CardJob& job, const DaemonContext& context, std::stop_token stop)
      : job_(job), context_(context), stop_(std::move(stop)), name_(shown(job.root.native())) {}

  Visited run() {
    const auto exit = visit();
    if (exit) return {*exit};
    const auto& [code, what, number] = exit.error();
    if (code == Code::cancelled) return {pipeline::Exit::interrupted};
    const bool busy = code == Code::busy;
    say(busy ? what + "; it is tried again when another card is done" : what);
    return {pipeline::exit_of(code), busy};
  }

 private:
  void say(const std::string& what) const { context_.log.say(fmt::format("{}: {}", name_, what)); }

  Result<pipeline::Exit> visit() {
    const auto fs = TRY(PosixFs::open_at(job_.root));
    if (job_.from == CardJob::From::mount && !TRY(is_worth_it(*fs))) return pipeline::Exit::done;
    const auto volume = TRY(fs->volume());
    const bool medium = pipeline::is_medium(*fs, volume, context_.plan.shoot());
    const pipeline::Card card{job_.root, *fs, volume, medium, pipeline::beside(job_.root, volume, medium)};
    const auto label = offload::card_label(card.volume, card.root);
    if (label != card.root.filename()) name_ = fmt::format("{} (\"{}\")", name_, shown(label));

    const Plan plan = context_.plan.now();
    auto destinations = pipeline::open_destinations(plan.destinations);
    TRY(pipeline::check_not_on_card(destinations, card));
    TRY(pipeline::check_disks(destinations));
    TRY(pipeline::check_shoot_folder(plan.destinations, context_.plan.shoot(), plan.slug()));
    const CardPriority::Card visiting(context_.card_priority);
    pipeline::Pipeline pipeline(context_.catalogue, plan, context_.clock);
    const auto report = TRY(pipeline.ingest(card, destinations, {}, watcher(), stop_));
    tell(report);
    if (report.ended) return pipeline::exit_of(report);
    tell(report, TRY(pipeline.check_safe(card, destinations, false, stop_)));
    return pipeline::exit_of(report);
  }

  // Whether a mount is a card with something on it.
  Result<bool> is_worth_it(const ReadFs& fs) const {
    const auto listing = card::scan(fs, stop_, kGlance);
    if (!listing && listing.error().code == Code::invalid) return no_card();
    if (!listing) return tl::unexpected(listing.error());
    const auto structures = card::structures_of(*listing);
    if (structures.empty()) return no_card();
    const bool stills = std::find(structures.begin(), structures.end(), card::Structure::dcim) != structures.end();
    if (!stills && card::clips_of(*listing).empty()) {
      say(fmt::format("a card ({}) with no recording on it", structures_text(structures)));
      return false;
    }
    say(fmt::format("a card ({})", structures_text(structures)));
    return true;
  }

  bool no_card() const {
    say("no camera's card; skipped");
    return false;
  }

  pipeline::IngestWatcher watcher() {
    pipeline::IngestWatcher watcher;
    watcher.started = [this](const pipeline::IngestWatcher::Start& start) {
      glance_ = pipeline::glance_at(start);
      begun_ = told_ = studied_ = context_.clock.steady();
      say(fmt::format("{}: {}, {} to read", start.roll, counted(start.files, "file"), bytes_text(start.bytes)));
    };
    watcher.progress = [this](const offload::CopyProgress& progress) {
      const auto now = context_.clock.steady();
      if (now - studied_ >= kBetweenStudies) {
        studied_ = now;
        context_.some_copied();
      }
      if (now - told_ < kBetweenProgress) return;
      told_ = now;
      pipeline::look_again(glance_, progress, std::chrono::duration_cast<Micros>(now - begun_));
      say(pipeline::progress_text(glance_));
    };
    return watcher;
  }

  void tell(const pipeline::IngestReport& report) const {
    for (const auto& each : report.destinations)
      say(fmt::format("{}: {} of {} verified on \"{}\", {} of them now", report.roll, each.files,
                      counted(report.files, "file"), shown(each.name), each.copied_files));
    for (const auto& [roll, files] : report.met)
      say(fmt::format("{}: {} already in {}", report.roll, counted(files, "file"), roll));
    tell(report.remarks);
    std::vector<std::string> problems;
    for (const auto& problem : report.problems) problems.push_back(problem.message);
    tell(problems);
    if (!report.ended) return;
    const bool stopped = report.ended->code == Code::cancelled;
    say(fmt::format("{}: {}; what is verified stays so, the rest follows next time", report.roll,
                    stopped ? "stopped" : report.ended->what));
  }

  void tell(const pipeline::IngestReport& report, const offload::Verdict& verdict) const {
    if (verdict.safe) {
      say(fmt::format("{}: safe to wipe at this moment: {}, read back from {}", report.roll,
                      counted(verdict.files, "file"), quoted(verdict.destinations)));
      tell(offload::grounds(verdict));
      return;
    }
    say(fmt::format("{}: do not wipe this card", report.roll));
    std::vector<std::string> reasons;
    for (const auto& reason : verdict.reasons)
      reasons.push_back(reason.path.empty() ? reason.message : shown(reason.path.native()) + " " + reason.message);
    tell(reasons);
  }

  void tell(const std::vector<std::string>& lines) const {
    for (std::size_t i = 0; i < std::min(kMostLines, lines.size()); ++i) say("  " + lines[i]);
    if (lines.size() > kMostLines) say(fmt::format("  … and {} more", lines.size() - kMostLines));
  }

  const CardJob job_;
  const DaemonContext& context_;
  const std::stop_token stop_;
  std::string name_;
  pipeline::CopyGlance glance_;
  std::chrono::steady_clock::time_point begun_{}, told_{}, studied_{};
};

}  // namespace

Visited visit_card(const CardJob& job, const DaemonContext& context, std::stop_token stop) {
  return CardVisit(job, context, std::move(stop)).run();
}

}  // namespace everytake::service
