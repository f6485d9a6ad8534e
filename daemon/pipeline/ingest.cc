// Pipeline::ingest: one visit of a card.
#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <set>

#include "base/text.h"
#include "card/recognise.h"
#include "card/scan.h"
#include "offload/identity.h"
#include "offload/plan_copies.h"
#include "os/random.h"
#include "pipeline/card_lock.h"
#include "pipeline/copy_context.h"
#include "pipeline/copy_recorder.h"
#include "pipeline/copy_status.h"
#include "pipeline/holdings.h"
#include "pipeline/list_card.h"
#include "pipeline/match_destinations.h"
#include "pipeline/notes.h"
#include "pipeline/pipeline.h"
#include "pipeline/shoot_folders.h"
#include "pipeline/visit_files.h"

namespace everytake::pipeline {
namespace {

using State = IngestReport::Destination::State;

constexpr int kRounds = 4;  // what went wrong is tried anew, and what turned up meanwhile once more

// Where copies may go.
struct Places {
  std::vector<MatchedDestination> matches;            // every destination
  std::vector<std::optional<std::size_t>> target_of;  // as `matches`; nullopt: it is not there
  std::vector<MatchedDestination> here;               // those that are, by target
  std::vector<offload::Target> targets;
};

// All that a visit finds out before it copies.
struct Found {
  Listing listing;
  Places places;
  VisitFiles files;
  std::set<RollId> rolls;                  // that the files are of; 0 for those without one, on a dry run
  std::vector<offload::NamesThere> names;  // by target
};

// What is to be copied, and what need not be.
struct Work {
  offload::CopyPlan plan;
  std::vector<std::size_t> already;  // by target: files that have a good copy there
};

// What came of copying to one target, in files.
struct Copied {
  std::size_t stored = 0, failed = 0;
};

// One visit, step by step. What a step has found out is a value, which the next ones take; what a person is to be told
// is added to the report.
class Visit {
 public:
  Visit(CopyContext context, const Card& card, const IngestOptions& options)
      : context_(std::move(context)),
        catalogue_(context_.catalogue),
        card_(card),
        key_(offload::card_key(card.volume)),
        options_{options.dry_run, options.read_twice || context_.plan.read_card_twice} {}

  Result<IngestReport> run() {
    auto found = TRY(look());
    const auto work = plan_work(found);
    std::vector<Copied> copied(found.places.targets.size());
    if (!options_.dry_run) {
      TRY(note_clips(found));                // so that they can be studied while others are copied
      copied = TRY(copy(found, work.plan));  // report_.ended says what cut it short
      if (!report_.ended) TRY(look_again(found));
      TRY(leave_lists(found));
      TRY(note_problems(found));
      leave_backups(found);
    }
    TRY(sum_up(found, work, copied));
    return std::move(report_);
  }

 private:
  Result<Found> look() {
    auto listing = TRY(list());        // what the card says it holds, twice over
    auto places = TRY(find_places());  // an absent one is a problem, not the end
    auto files = TRY(recognise_files(context_, card_, listing, options_));
    auto rolls = TRY(open_roll(places, files.all));  // every file has a row
    auto names = find_names(listing, places, files);
    return Found{std::move(listing), std::move(places), std::move(files), std::move(rolls), std::move(names)};
  }

  Result<Listing> list() {
    auto listing = TRY(list_card(card_, context_.stop));
    report_.problems = listing.problems;
    report_.root = card_.root;
    report_.label = offload::card_label(card_.volume, card_.root);
    report_.uuid = card_.volume.uuid;
    report_.identity = offload::listing_identity(listing);
    report_.files = listing.files.size();
    for (const auto& file : listing.files) report_.bytes += file.size;
    return listing;
  }

  Result<Places> find_places() {
    const auto token = TRY(token_of(catalogue_));
    std::optional<CardLock> notes_lock;  // two cards at once would both take a new destination in hand
    if (!options_.dry_run) notes_lock.emplace(TRY(CardLock::take_notes(catalogue_, context_.clock)));
    const auto stamp = options_.dry_run ? std::nullopt : std::optional(random_id());
    Places places;
    places.matches = match_destinations(context_.destinations, TRY(catalogue_.destinations()));
    for (auto& matched : places.matches) {
      if (!matched.is_here()) continue;
      auto taken = TRY(take_in_hand(catalogue_, context_.plan, matched, stamp));
      if (taken.remark) report_.remarks.push_back(std::move(*taken.remark));
      matched.absence = std::move(taken.refusal);
    }
    refuse_twins(places.matches);  // a folder seen twice got one mark just now
    for (const auto& matched : places.matches) {
      places.target_of.push_back(matched.is_here() ? std::optional(places.targets.size()) : std::nullopt);
      if (matched.absence) report_.problems.push_back(*matched.absence);
      if (!matched.is_here()) continue;
      places.targets.push_back({matched.open->planned.name, matched.open->fs.get(), token});
      places.here.push_back(matched);
    }
    if (places.targets.empty()) TRY(nowhere_to_go());
    return places;
  }

  // Destinations that are away come back by themselves; what a person has to settle first ends the visit.
  Result<void> nowhere_to_go() const {
    for (const auto& problem : report_.problems)
      for (const auto code : {ProblemCode::foreign_shoot, ProblemCode::cloned_mark, ProblemCode::bad_mark})
        if (problem.code == code) return fail(Code::invalid, problem.message);
    return {};
  }

  // Gives each file its row, and the name of its roll; returns the rolls. On a dry run new files get neither.
  Result<std::set<RollId>> open_roll(const Places& places, std::vector<VisitFile>& files) {
    std::map<std::int64_t, std::string> names;
    for (const auto& roll : TRY(catalogue_.rolls())) names[roll.id.value] = roll.name;
    catalogue::Catalogue::Visit visit;
    if (!options_.dry_run) visit = TRY(note_visit(places, files));
    if (visit.roll) names[visit.roll->id.value] = visit.roll->name;
    std::set<RollId> rolls;
    for (std::size_t i = 0; i < files.size(); ++i) {
      auto& file = files[i];
      if (i < visit.files.size()) file.id = visit.files[i];
      const auto roll = file.row ? file.row->roll : visit.roll ? visit.roll->id : RollId{};
      file.roll = names[roll.value];
      rolls.insert(roll);
      if (file.elsewhere) ++report_.met[file.roll];
    }
    // On a dry run new files have no roll yet, and would get a new one.
    const bool unnamed = options_.dry_run && std::any_of(files.begin(), files.end(), [](auto& f) { return !f.row; });
    if (!unnamed) report_.roll = names[latest(rolls).value];
    return rolls;
  }

  Result<catalogue::Catalogue::Visit> note_visit(const Places& places, const std::vector<VisitFile>& files) {
    std::vector<catalogue::VisitedFile> seen;
    for (const auto& file : files)
      seen.push_back({file.row ? std::optional(file.row->id) : std::nullopt, file.file, file.elsewhere});
    // A roll of that name from before, or a folder somebody made.
    const auto taken = [&](const std::string& name) {
      return std::ranges::any_of(places.here, [&](const MatchedDestination& matched) {
        return matched.open->fs->stat(matched.home / name).has_value();
      });
    };
    const catalogue::Roll roll{
        {}, "", context_.clock.now(), key_, card_.root, report_.label, report_.uuid, report_.identity};
    return catalogue_.open_visit(roll, seen, taken);
  }

  static RollId latest(const std::set<RollId>& rolls) { return rolls.empty() ? RollId{} : *rolls.rbegin(); }

  // Names that a filesystem can't hold are the exception: most of the time nothing is asked and nothing kept.
  std::vector<offload::NamesThere> find_names(const Listing& listing, const Places& places, const VisitFiles& files) {
    std::vector<offload::NamesThere> names(places.targets.size());
    if (options_.dry_run) return names;
    std::vector<Path> paths = listing.folders;
    for (const auto& file : files.all) paths.push_back(file.path());
    for (const auto& row : files.known.own()) paths.push_back(row.file.path);
    const auto odd = offload::unusual_in(paths);
    for (std::size_t t = 0; t < names.size(); ++t) {
      const auto& matched = places.here[t];
      names[t] = names_at(*matched.open->fs, matched.home, odd, files.known.own(), matched.id);
    }
    return names;
  }

  static Path stored_at(Found& found, const VisitFile& file, std::size_t target) {
    const auto folder = found.places.here[target].home / file.roll;
    auto& names = found.names[target];
    return names.takes_all() ? folder / file.path() : names.of(folder, file.path());
  }

  // What of a file's job is known before it is planned.
  offload::FileToCopy to_copy(Found& found, const VisitFile& file) const {
    offload::FileToCopy each{file.id, file.file, Path(context_.plan.slug()) / file.roll / file.path(), {}};
    for (std::size_t t = 0; t < found.places.targets.size(); ++t)
      if (auto there = stored_at(found, file, t); there != each.stored) each.otherwise[t] = std::move(there);
    return each;
  }

  Work plan_work(Found& found) {
    const auto& here = found.places.here;
    Work work{{}, std::vector<std::size_t>(here.size())};
    std::vector<offload::FileToCopy> wanted;
    wanted.reserve(found.files.all.size());
    for (const auto& file : found.files.all) {
      auto each = to_copy(found, file);
      for (std::size_t t = 0; t < here.size(); ++t)
        if (file.row && good_copy(*file.row, here[t])) each.done.insert(t), ++work.already[t];
      const bool all_there = each.done.size() == here.size();
      if (!file.trouble.empty() && all_there)
        report_.problems.push_back({ProblemCode::unreadable, file.file.path.string(), "", file.trouble});
      wanted.push_back(std::move(each));
    }
    std::vector<offload::TargetRoom> rooms;
    for (const auto& matched : here) rooms.push_back({matched.open->planned.name, matched.open->volume});
    work.plan = offload::plan_copies(wanted, rooms);
    add_readings(found, work.plan);
    report_.problems.insert(report_.problems.end(), work.plan.problems.begin(), work.plan.problems.end());
    return work;
  }

  // Files that are everywhere already and must be read from the card all the same: those whose readings differed, those
  // that are known by a list alone, and where two readings are wanted those read once. And for all: what is known.
  void add_readings(Found& found, offload::CopyPlan& plan) const {
    std::map<std::int64_t, offload::CopyJob*> planned;
    for (auto& job : plan.jobs) planned[job.file.value] = &job;
    std::vector<offload::CopyJob> readings;
    for (const auto& file : found.files.all) {
      if (!file.row) continue;
      const auto it = planned.find(file.id.value);
      if (it != planned.end()) {
        add_what_is_known(*file.row, *it->second);
        if (file.elsewhere) it->second->other = offload::CopyJob::Other::never;
        continue;
      }
      if (file.elsewhere) continue;
      const bool again = file.row->suspect || (options_.read_twice && file.row->readings < 2) ||
                         (!file.is_read && file.trouble.empty());
      if (!again) continue;
      readings.push_back({file.id, file.file, to_copy(found, file).stored, {}});
      add_what_is_known(*file.row, readings.back());
    }
    std::ranges::move(readings, std::back_inserter(plan.jobs));
  }

  static void add_what_is_known(const catalogue::FileRow& row, offload::CopyJob& job) {
    job.expected = row.digest;
    job.other = offload::CopyJob::Other::if_twice;
    job.doubtful = row.suspect.has_value();
  }

  // By target.
  Result<std::vector<Copied>> copy(Found& found, const offload::CopyPlan& plan) {
    const auto& targets = found.places.targets;
    context_.watcher.started(start_of(report_.roll, plan, targets));
    CopyRecorder recorder(catalogue_, context_.clock, found.places.here, context_.watcher);
    auto jobs = plan.jobs;
    for (int round = 0; round < kRounds && (round == 0 || !jobs.empty()); ++round) {
      recorder.begin(jobs);
      const bool twice = options_.read_twice && round == 0;
      const auto done = offload::copy_files(card_.fs, jobs, targets, {twice}, recorder, context_.stop);
      tell_moved(found, recorder.take_moved());
      if (!done) {
        report_.ended = done.error();
        break;
      }
      if (recorder.to_retry().empty()) break;
      jobs = TRY(jobs_to_retry(found, plan.refused, recorder));
    }
    const auto problems = recorder.problems();
    report_.problems.insert(report_.problems.end(), problems.begin(), problems.end());
    if (!context_.stop.stop_requested()) make_empty_folders(found);
    std::vector<Copied> copied;
    for (std::size_t t = 0; t < targets.size(); ++t) copied.push_back({recorder.stored(t), recorder.failed(t)});
    return copied;
  }

  static const VisitFile& file_of(const Found& found, FileId id) {
    return *std::ranges::find(found.files.all, id, &VisitFile::id);
  }

  void tell_moved(const Found& found, const std::vector<std::int64_t>& moved) {
    for (const auto id : moved) {
      const auto& file = file_of(found, FileId{id});
      report_.problems.push_back(
          {ProblemCode::bytes_differ, file.file.path.string(), "",
           fmt::format(
               "{}: the card gave other bytes than before, and twice the same: what was copied then is set aside "
               "in {}.bad. It was read wrong then, or changed since: look at both, and try another reader",
               shown(file.file.path.string()), file.roll)});
    }
  }

  // For what went wrong in this round, from how it stands now. What lies under a copy's name, was a copy of ours and is
  // not what the card holds is set aside.
  Result<std::vector<offload::CopyJob>> jobs_to_retry(Found& found, const std::set<std::size_t>& refused,
                                                      const CopyRecorder& recorder) {
    const auto& here = found.places.here;
    const auto now = TRY(IndexedFiles::of_card(catalogue_, key_));
    std::map<FileId, const catalogue::FileRow*> rows;
    for (const auto& each : now.rows()) rows[each.id] = &each;
    std::vector<offload::CopyJob> jobs;
    for (const auto& file : found.files.all) {
      if (!recorder.to_retry().contains(file.id)) continue;
      const auto* row = rows.at(file.id);
      auto each = to_copy(found, file);
      offload::CopyJob job{file.id, file.file, std::move(each.stored), {}, std::nullopt, std::move(each.otherwise)};
      add_what_is_known(*row, job);
      if (file.elsewhere) job.other = offload::CopyJob::Other::never;
      for (std::size_t t = 0; t < here.size(); ++t)
        if (!refused.contains(t) && !good_copy(*row, here[t]) && recorder.may_retry(file.id, t) &&
            make_way(found, *row, here[t], job.stored_at(t)))
          job.targets.push_back(t);
      if (!job.targets.empty()) jobs.push_back(std::move(job));
    }
    return jobs;
  }

  // Whether the copy's name is free, or was made so.
  bool make_way(const Found& found, const catalogue::FileRow& row, const MatchedDestination& matched,
                const Path& stored) {
    auto& fs = *matched.open->fs;
    if (!fs.stat(stored)) return true;
    if (!is_left_by_a_visit(fs, row, matched.id, stored)) return false;
    if (!is_own_home(catalogue_, matched).value_or(false) || !set_aside(fs, stored, row.file.path)) return false;
    const auto& name = matched.open->planned.name;
    report_.problems.push_back(
        {ProblemCode::bytes_differ, stored.string(), name,
         fmt::format("\"{}\": {} was not what the card holds any more: it is set aside in {}.bad and copied again",
                     shown(name), shown(stored.string()), shown(file_of(found, row.id).roll))});
    return true;
  }

  // The card's tree is kept whole. A destination that can't make them has said so for its files.
  void make_empty_folders(Found& found) const {
    if (!report_.met.empty()) return;  // the tree is another one's
    const auto& here = found.places.here;
    for (std::size_t t = 0; t < here.size(); ++t)
      for (const auto& folder : found.listing.folders)
        (void)here[t].open->fs->make_folder(found.names[t].of(here[t].home / report_.roll, folder));
  }

  Result<void> look_again(const Found& found) {
    const auto after = card::scan(card_.fs, context_.stop);
    if (!after) {
      report_.ended = after.error();
      return {};
    }
    if (after->files != found.listing.files)
      report_.problems.push_back(
          {ProblemCode::card_changed, "", "", "the card changed while it was copied: offload it again"});
    for (const auto& matched : found.places.here)
      if (const auto there = matched.open->fs->still_there(); !there)
        report_.problems.push_back({ProblemCode::destination_lost, "", matched.open->planned.name,
                                    fmt::format("\"{}\" went away while it was copied to: {}",
                                                shown(matched.open->planned.name), there.error().what)});
    return {};
  }

  // Each roll of this card, at each destination it was copied to.
  Result<void> leave_lists(const Found& found) {
    if (report_.ended) return {};
    for (const auto& roll : TRY(catalogue_.rolls()))
      if (found.rolls.contains(roll.id))
        for (const auto& matched : found.places.here)
          if (auto problem = TRY(leave_manifests(catalogue_, roll, matched, context_.stop)))
            report_.problems.push_back(std::move(*problem));
    return {};
  }

  // Last, so that it holds all of this visit: a destination must be able to stand alone.
  void leave_backups(const Found& found) {
    if (report_.ended) return;
    for (auto& problem : leave_catalogue(catalogue_, context_.plan, context_.clock, found.places.here))
      report_.problems.push_back(std::move(problem));
  }

  Result<void> note_clips(const Found& found) {
    std::map<std::string, FileId> ids;
    for (const auto& file : found.files.all) ids[file.file.path.string()] = file.id;
    report_.clips = TRY(catalogue_.put_clips(card::clips_of(found.listing), ids));
    return {};
  }

  Result<void> note_problems(const Found& found) {
    return catalogue_.record_problems(latest(found.rolls), report_.problems, context_.clock.now());
  }

  // From how everything stands now, not from what was done.
  Result<void> sum_up(const Found& found, const Work& work, const std::vector<Copied>& copied) {
    const auto& [matches, target_of, here, targets] = found.places;
    std::set<FileId> files;  // two of the card may be one that is kept already
    for (const auto& file : found.files.all) files.insert(file.id);
    const auto holdings = TRY(holdings_of(catalogue_, key_, files, matches));
    for (std::size_t i = 0; i < matches.size(); ++i) {
      auto sum = summed_up(matches[i], holdings[i]);
      if (const auto target = target_of[i]) {
        sum.already_files = work.already[*target];
        sum.copied_files = copied[*target].stored;
        sum.failed_files = copied[*target].failed;
        const bool refused = work.plan.refused.contains(*target);
        sum.state = sum.files == files.size() ? State::verified : refused ? State::failed : State::incomplete;
      }
      report_.destinations.push_back(std::move(sum));
    }
    return {};
  }

  IngestReport::Destination summed_up(const MatchedDestination& matched, const Holding& holding) {
    IngestReport::Destination sum;
    sum.name = matched.open->planned.name;
    sum.path = matched.open->planned.path;
    sum.files = holding.verified;
    sum.bytes = holding.bytes;
    sum.readback = holding.readback;
    if (holding.unproven > 0) {
      sum.readback = Evidence::cached;
      report_.problems.push_back(holding.unproven_problem(sum.name));
    }
    return sum;
  }

  const CopyContext context_;
  catalogue::Catalogue& catalogue_;
  const Card& card_;
  const std::string key_;        // the card's, in the catalogue
  const IngestOptions options_;  // with what the plan asks for
  IngestReport report_;
};

}  // namespace

Result<IngestReport> Pipeline::ingest(const Card& card, std::span<OpenDestination> destinations,
                                      const IngestOptions& options, const IngestWatcher& watcher,
                                      std::stop_token stop) {
  std::optional<CardLock> lock;
  if (!options.dry_run) lock.emplace(TRY(CardLock::take(catalogue_, offload::card_key(card.volume), clock_)));
  CopyContext context{catalogue_, plan_, clock_, destinations, watcher, std::move(stop)};
  return Visit(std::move(context), card, options).run();
}

}  // namespace everytake::pipeline
