// Pipeline::ingest: one visit of a card.
#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <set>

#include "base/parallel.h"
#include "base/text.h"
#include "card/recognise.h"
#include "card/scan.h"
#include "offload/identity.h"
#include "offload/plan_copies.h"
#include "os/random.h"
#include "pipeline/card_lock.h"
#include "pipeline/copy_recorder.h"
#include "pipeline/copy_status.h"
#include "pipeline/holdings.h"
#include "pipeline/kept_before.h"
#include "pipeline/list_card.h"
#include "pipeline/match_destinations.h"
#include "pipeline/notes.h"
#include "pipeline/pipeline.h"
#include "pipeline/shoot_folders.h"

namespace everytake::pipeline {
namespace {

using State = IngestReport::Destination::State;

constexpr int kRounds = 4;  // what went wrong is tried anew, and what turned up meanwhile once more

// A file of this visit.
struct VisitFile {
  CardFile file;
  const catalogue::FileRow* row = nullptr;  // nullptr: new
  bool elsewhere = false;                   // the row's file belongs to another card or folder
  bool is_read = false;                     // from a card, to its end, and well
  std::string trouble;                      // with looking at it now
  FileId id;
  std::string roll;  // "R001"

  // Its path in its roll.
  const Path& path() const { return row ? row->file.path : file.path; }
};

// One visit, step by step. Each step may rely on what the ones before it established.
class Visit {
 public:
  Visit(catalogue::Catalogue& catalogue, const Plan& plan, const Clock& clock, const Card& card,
        std::span<OpenDestination> destinations, const IngestOptions& options, const IngestWatcher& watcher,
        std::stop_token stop)
      : catalogue_(catalogue),
        plan_(plan),
        clock_(clock),
        card_(card),
        open_(destinations),
        options_(options),
        watcher_(watcher),
        stop_(std::move(stop)),
        twice_(options.read_twice || plan.read_card_twice) {}

  Result<IngestReport> run() {
    TRY(list());               // listing_ is what the card says it holds, twice over
    TRY(find_destinations());  // matches_: where copies go; an absent one is a problem, not the end
    TRY(know());               // known_ and files_: which of it was seen before
    TRY(open_roll());          // every file has a row
    find_names();              // names_: what each file is called at each target
    auto plan = plan_what_to_copy();
    if (!options_.dry_run) {
      TRY(note_clips());  // so that they can be studied while others are copied
      TRY(copy(plan));    // report_.ended says what cut it short
      if (!report_.ended) TRY(look_again());
      TRY(leave_lists());
      TRY(note_problems());
      leave_backups();
    }
    TRY(sum_up(plan));
    return std::move(report_);
  }

 private:
  Result<void> list() {
    listing_ = TRY(list_card(card_, stop_));
    report_.problems = listing_.problems;
    report_.root = card_.root;
    report_.label = offload::card_label(card_.volume, card_.root);
    report_.uuid = card_.volume.uuid;
    report_.identity = offload::listing_identity(listing_);
    report_.files = listing_.files.size();
    for (const auto& file : listing_.files) report_.bytes += file.size;
    return {};
  }

  // Which of the files are known: by their path here, else by their bytes from wherever they were kept.
  Result<void> know() {
    const auto key = offload::card_key(card_.volume);
    known_.emplace(TRY(IndexedFiles::of_card(catalogue_, key)));
    files_.resize(listing_.files.size());
    const auto look = [&](std::size_t i) -> Result<void> {
      const auto& file = listing_.files[i];
      auto match = TRY(known_->match(card_.fs, file));
      const bool is_read = match.known == offload::FileSeen::Known::equal;
      files_[i] = {file, match.row, match.elsewhere, is_read, std::move(match.trouble), {}, {}};
      return {};
    };
    TRY(for_each_index(files_.size(), look));
    met_.emplace(catalogue_, card_.fs, listing_, !options_.dry_run, stop_);
    std::vector<catalogue::Sighting> sightings;
    for (auto& each : files_) {
      // What is another card's is never doubted for this one's sake: it is this file no more.
      if (each.elsewhere && twice_ && !options_.dry_run && !TRY(met_->is_still(each.file, *each.row)))
        each.row = nullptr, each.elsewhere = each.is_read = false;
      if (each.row) continue;
      each.row = TRY(met_->find(each.file));
      if (!each.row) continue;
      each.elsewhere = each.is_read = true;
      sightings.push_back({each.row->id, each.file, {}});
    }
    if (options_.dry_run) return {};
    TRY(take_others_cards());
    return catalogue_.record_sightings(key, sightings);
  }

  // Files of another card's roll are worked on here: nobody else may do so meanwhile.
  Result<void> take_others_cards() {
    std::set<RollId> rolls;
    for (const auto& file : files_)
      if (file.elsewhere) rolls.insert(file.row->roll);
    std::set<std::string> cards{offload::card_key(card_.volume)};
    for (const auto& roll : TRY(catalogue_.rolls()))
      if (rolls.contains(roll.id) && cards.insert(roll.card).second)
        locks_.push_back(TRY(CardLock::take(catalogue_, roll.card, clock_)));
    return {};
  }

  Result<void> find_destinations() {
    token_ = TRY(token_of(catalogue_));
    std::optional<CardLock> notes_lock;  // two cards at once would both take a new destination in hand
    if (!options_.dry_run) notes_lock.emplace(TRY(CardLock::take_notes(catalogue_, clock_)));
    const auto stamp = options_.dry_run ? std::nullopt : std::optional(random_id());
    matches_ = match_destinations(open_, TRY(catalogue_.destinations()));
    for (auto& matched : matches_) {
      if (!matched.is_here()) continue;
      auto taken = TRY(take_in_hand(catalogue_, plan_, matched, stamp));
      if (taken.remark) report_.remarks.push_back(std::move(*taken.remark));
      matched.absence = std::move(taken.refusal);
    }
    refuse_twins(matches_);  // a folder seen twice got one mark just now
    for (const auto& matched : matches_) {
      target_of_.push_back(matched.is_here() ? std::optional(targets_.size()) : std::nullopt);
      if (matched.absence) report_.problems.push_back(*matched.absence);
      if (!matched.is_here()) continue;
      targets_.push_back({matched.open->planned.name, matched.open->fs.get(), token_});
      target_matches_.push_back(matched);
    }
    return targets_.empty() ? nowhere_to_go() : Result<void>();
  }

  // Destinations that are away come back by themselves; what a person has to settle first ends the visit.
  Result<void> nowhere_to_go() const {
    for (const auto& problem : report_.problems)
      for (const auto code : {ProblemCode::foreign_shoot, ProblemCode::cloned_mark, ProblemCode::bad_mark})
        if (problem.code == code) return fail(Code::invalid, problem.message);
    return {};
  }

  Result<void> open_roll() {
    std::vector<catalogue::VisitedFile> seen;
    for (const auto& file : files_)
      seen.push_back({file.row ? std::optional(file.row->id) : std::nullopt, file.file, file.elsewhere});
    std::map<std::int64_t, std::string> names;
    for (const auto& roll : TRY(catalogue_.rolls())) names[roll.id.value] = roll.name;
    catalogue::Catalogue::Visit visit;
    if (!options_.dry_run) {
      const catalogue::Roll roll{{},           "",
                                 clock_.now(), offload::card_key(card_.volume),
                                 card_.root,   report_.label,
                                 report_.uuid, report_.identity};
      visit = TRY(catalogue_.open_visit(roll, seen, [&](const std::string& name) { return taken(name); }));
    }
    RollId latest;
    for (std::size_t i = 0; i < files_.size(); ++i) {
      auto& file = files_[i];
      if (i < visit.files.size()) file.id = visit.files[i];
      const auto roll = file.row ? file.row->roll : visit.roll ? visit.roll->id : RollId{};
      if (visit.roll) names[visit.roll->id.value] = visit.roll->name;
      latest = std::max(latest, roll);
      file.roll = names[roll.value];
      rolls_.insert(roll);
      if (file.elsewhere) ++report_.met[file.roll];
    }
    // On a dry run new files have no roll yet, and would get a new one.
    const bool unnamed = options_.dry_run && std::any_of(files_.begin(), files_.end(), [](auto& f) { return !f.row; });
    if (!unnamed) report_.roll = names[latest.value];
    return {};
  }

  // Names that a filesystem can't hold are the exception: most of the time nothing is asked and nothing kept.
  void find_names() {
    names_.resize(targets_.size());
    if (options_.dry_run) return;
    std::vector<Path> paths = listing_.folders;
    for (const auto& file : files_) paths.push_back(file.path());
    for (const auto& row : known_->own()) paths.push_back(row.file.path);
    const auto odd = offload::unusual_in(paths);
    for (std::size_t t = 0; t < targets_.size(); ++t) {
      const auto& matched = target_matches_[t];
      names_[t] = names_at(*matched.open->fs, matched.home, odd, known_->own(), matched.id);
    }
  }

  // A roll of that name from before, or a folder somebody made.
  bool taken(const std::string& name) const {
    return std::ranges::any_of(target_matches_, [&](const MatchedDestination& matched) {
      return matched.open->fs->stat(matched.home / name).has_value();
    });
  }

  Path stored_at(const VisitFile& file, std::size_t target) {
    const auto folder = target_matches_[target].home / file.roll;
    return names_[target].takes_all() ? folder / file.path() : names_[target].of(folder, file.path());
  }

  // Whether there is a verified copy of the file that stands as it was.
  static bool has(const MatchedDestination& matched, const catalogue::FileRow* row) {
    return row && std::ranges::any_of(row->copies, [&](const catalogue::CopyRow& copy) {
             return copy.destination == matched.id && copy.state == CopyState::verified &&
                    look_at(copy, matched) == offload::CopySeen::Now::unchanged;
           });
  }

  // What of a file's job is known before it is planned.
  offload::FileToCopy to_copy(const VisitFile& file) {
    offload::FileToCopy each{file.id, file.file, Path(plan_.slug()) / file.roll / file.path(), {}};
    for (std::size_t t = 0; t < targets_.size(); ++t)
      if (auto there = stored_at(file, t); there != each.stored) each.otherwise[t] = std::move(there);
    return each;
  }

  offload::CopyPlan plan_what_to_copy() {
    std::vector<offload::FileToCopy> wanted;
    wanted.reserve(files_.size());
    already_.resize(targets_.size());
    for (const auto& file : files_) {
      auto each = to_copy(file);
      for (std::size_t t = 0; t < targets_.size(); ++t)
        if (has(target_matches_[t], file.row)) each.done.insert(t), ++already_[t];
      const bool all_there = each.done.size() == targets_.size();
      if (!file.trouble.empty() && all_there)
        report_.problems.push_back({ProblemCode::unreadable, file.file.path.string(), "", file.trouble});
      wanted.push_back(std::move(each));
    }
    std::vector<offload::TargetRoom> rooms;
    for (const auto& matched : target_matches_) rooms.push_back({matched.open->planned.name, matched.open->volume});
    auto plan = offload::plan_copies(wanted, rooms);
    refused_ = plan.refused;
    add_readings(plan);
    report_.problems.insert(report_.problems.end(), plan.problems.begin(), plan.problems.end());
    return plan;
  }

  // Files that are everywhere already and must be read from the card all the same: those whose readings differed, those
  // that are known by a list alone, and where two readings are wanted those read once. And for all: what is known.
  void add_readings(offload::CopyPlan& plan) {
    std::map<std::int64_t, offload::CopyJob*> planned;
    for (auto& job : plan.jobs) planned[job.file.value] = &job;
    std::vector<offload::CopyJob> readings;
    for (const auto& file : files_) {
      if (!file.row) continue;
      const auto it = planned.find(file.id.value);
      if (it != planned.end()) {
        add_what_is_known(*file.row, *it->second);
        if (file.elsewhere) it->second->other = offload::CopyJob::Other::never;
        continue;
      }
      if (file.elsewhere) continue;
      const bool again =
          file.row->suspect || (twice_ && file.row->readings < 2) || (!file.is_read && file.trouble.empty());
      if (!again) continue;
      readings.push_back({file.id, file.file, to_copy(file).stored, {}});
      add_what_is_known(*file.row, readings.back());
    }
    std::ranges::move(readings, std::back_inserter(plan.jobs));
  }

  static void add_what_is_known(const catalogue::FileRow& row, offload::CopyJob& job) {
    job.expected = row.digest;
    job.other = offload::CopyJob::Other::if_twice;
    job.doubtful = row.suspect.has_value();
  }

  Result<void> copy(offload::CopyPlan& plan) {
    IngestWatcher::Start start{report_.roll, plan.jobs.size(), 0, {}, plan.bytes};
    for (const auto& job : plan.jobs) start.bytes += job.source.size;
    for (const auto& target : targets_) start.targets.push_back(target.name);
    watcher_.started(start);
    recorder_.emplace(catalogue_, clock_, target_matches_, watcher_);
    auto jobs = std::move(plan.jobs);
    for (int round = 0; round < kRounds && (round == 0 || !jobs.empty()); ++round) {
      recorder_->begin(jobs);
      const auto done = offload::copy_files(card_.fs, jobs, targets_, {twice_ && round == 0}, *recorder_, stop_);
      tell_moved();
      if (!done) {
        report_.ended = done.error();
        break;
      }
      if (recorder_->to_retry().empty()) break;
      jobs = TRY(jobs_to_retry());
    }
    const auto problems = recorder_->problems();
    report_.problems.insert(report_.problems.end(), problems.begin(), problems.end());
    if (!stop_.stop_requested()) make_empty_folders();
    return {};
  }

  void tell_moved() {
    for (const auto id : recorder_->take_moved()) {
      const auto it = std::ranges::find_if(files_, [&](const auto& file) { return file.id.value == id; });
      report_.problems.push_back(
          {ProblemCode::bytes_differ, it->file.path.string(), "",
           fmt::format(
               "{}: the card gave other bytes than before, and twice the same: what was copied then is set aside "
               "in {}.bad. It was read wrong then, or changed since: look at both, and try another reader",
               shown(it->file.path.string()), it->roll)});
    }
  }

  // For what went wrong in this round, from how it stands now. What lies under a copy's name, was a copy of ours and is
  // not what the card holds is set aside.
  Result<std::vector<offload::CopyJob>> jobs_to_retry() {
    const auto now = TRY(IndexedFiles::of_card(catalogue_, offload::card_key(card_.volume)));
    std::map<FileId, const catalogue::FileRow*> rows;
    for (const auto& each : now.rows()) rows[each.id] = &each;
    std::vector<offload::CopyJob> jobs;
    for (const auto& file : files_) {
      if (!recorder_->to_retry().contains(file.id)) continue;
      const auto* row = rows.at(file.id);
      auto each = to_copy(file);
      offload::CopyJob job{file.id, file.file, std::move(each.stored), {}, std::nullopt, std::move(each.otherwise)};
      add_what_is_known(*row, job);
      if (file.elsewhere) job.other = offload::CopyJob::Other::never;
      for (std::size_t t = 0; t < targets_.size(); ++t)
        if (!refused_.contains(t) && !has(target_matches_[t], row) && recorder_->may_retry(file.id, t) &&
            make_way(*row, t, job.stored_at(t)))
          job.targets.push_back(t);
      if (!job.targets.empty()) jobs.push_back(std::move(job));
    }
    return jobs;
  }

  // Whether the copy's name is free, or was made so.
  bool make_way(const catalogue::FileRow& row, std::size_t target, const Path& stored) {
    auto& fs = *target_matches_[target].open->fs;
    if (!fs.stat(stored)) return true;
    if (!is_left_by_a_visit(fs, row, target_matches_[target].id, stored)) return false;
    if (!is_own_home(catalogue_, target_matches_[target]).value_or(false) || !set_aside(fs, stored, row.file.path))
      return false;
    const auto& name = target_matches_[target].open->planned.name;
    report_.problems.push_back(
        {ProblemCode::bytes_differ, stored.string(), name,
         fmt::format("\"{}\": {} was not what the card holds any more: it is set aside in {}.bad and copied again",
                     shown(name), shown(stored.string()), shown(file_roll(row.id)))});
    return true;
  }

  const std::string& file_roll(FileId id) const {
    return std::ranges::find_if(files_, [&](const auto& file) { return file.id == id; })->roll;
  }

  // The card's tree is kept whole. A destination that can't make them has said so for its files.
  void make_empty_folders() {
    if (!report_.met.empty()) return;  // the tree is another one's
    for (std::size_t t = 0; t < targets_.size(); ++t)
      for (const auto& folder : listing_.folders)
        (void)targets_[t].fs->make_folder(names_[t].of(target_matches_[t].home / report_.roll, folder));
  }

  Result<void> look_again() {
    const auto after = card::scan(card_.fs, stop_);
    if (!after) {
      report_.ended = after.error();
      return {};
    }
    if (after->files != listing_.files)
      report_.problems.push_back(
          {ProblemCode::card_changed, "", "", "the card changed while it was copied: offload it again"});
    for (const auto& matched : target_matches_)
      if (const auto there = matched.open->fs->still_there(); !there)
        report_.problems.push_back({ProblemCode::destination_lost, "", matched.open->planned.name,
                                    fmt::format("\"{}\" went away while it was copied to: {}",
                                                shown(matched.open->planned.name), there.error().what)});
    return {};
  }

  // Each roll of this card, at each destination it was copied to.
  Result<void> leave_lists() {
    if (report_.ended) return {};
    for (const auto& roll : TRY(catalogue_.rolls()))
      if (rolls_.count(roll.id))
        for (const auto& matched : target_matches_)
          if (auto problem = TRY(leave_manifests(catalogue_, roll, matched, stop_)))
            report_.problems.push_back(std::move(*problem));
    return {};
  }

  // Last, so that it holds all of this visit: a destination must be able to stand alone.
  void leave_backups() {
    if (report_.ended) return;
    for (auto& problem : leave_catalogue(catalogue_, plan_, clock_, target_matches_))
      report_.problems.push_back(std::move(problem));
  }

  Result<void> note_clips() {
    std::map<std::string, FileId> ids;
    for (const auto& file : files_) ids[file.file.path.string()] = file.id;
    report_.clips = TRY(catalogue_.put_clips(card::clips_of(listing_), ids));
    return {};
  }

  Result<void> note_problems() {
    RollId latest;
    for (const auto roll : rolls_) latest = std::max(latest, roll);
    return catalogue_.record_problems(latest, report_.problems, clock_.now());
  }

  // From how everything stands now, not from what was done.
  Result<void> sum_up(const offload::CopyPlan& plan) {
    std::set<FileId> files;  // two of the card may be one that is kept already
    for (const auto& file : files_) files.insert(file.id);
    const auto holdings = TRY(holdings_of(catalogue_, offload::card_key(card_.volume), files, matches_));
    for (std::size_t i = 0; i < matches_.size(); ++i)
      report_.destinations.push_back(sum_up(matches_[i], target_of_[i], plan, holdings[i], files.size()));
    return {};
  }

  IngestReport::Destination sum_up(const MatchedDestination& matched, std::optional<std::size_t> target,
                                   const offload::CopyPlan& plan, const Holding& holding, std::size_t files) {
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
    if (!target) return sum;
    sum.already_files = already_[*target];
    sum.copied_files = recorder_ ? recorder_->stored(*target) : 0;
    sum.failed_files = recorder_ ? recorder_->failed(*target) : 0;
    const bool refused = plan.refused.count(*target) > 0;
    sum.state = sum.files == files ? State::verified : refused ? State::failed : State::incomplete;
    return sum;
  }

  catalogue::Catalogue& catalogue_;
  const Plan& plan_;
  const Clock& clock_;
  const Card& card_;
  const std::span<OpenDestination> open_;
  const IngestOptions& options_;
  const IngestWatcher& watcher_;
  const std::stop_token stop_;
  const bool twice_;

  IngestReport report_;
  Listing listing_;
  std::string token_;
  std::vector<MatchedDestination> matches_;            // every destination
  std::vector<std::optional<std::size_t>> target_of_;  // as matches_
  std::vector<MatchedDestination> target_matches_;     // those that are there, by target
  std::vector<offload::Target> targets_;
  std::vector<CardLock> locks_;  // of other cards whose files are met here
  std::optional<IndexedFiles> known_;
  std::optional<KeptBefore> met_;
  std::vector<VisitFile> files_;  // as listing_.files
  std::set<RollId> rolls_;
  std::vector<offload::NamesThere> names_;  // by target
  std::vector<std::size_t> already_;
  std::set<std::size_t> refused_;  // targets
  std::optional<CopyRecorder> recorder_;
};

}  // namespace

Result<IngestReport> Pipeline::ingest(const Card& card, std::span<OpenDestination> destinations,
                                      const IngestOptions& options, const IngestWatcher& watcher,
                                      std::stop_token stop) {
  std::optional<CardLock> lock;
  if (!options.dry_run) lock.emplace(TRY(CardLock::take(catalogue_, offload::card_key(card.volume), clock_)));
  return Visit(catalogue_, plan_, clock_, card, destinations, options, watcher, std::move(stop)).run();
}

}  // namespace everytake::pipeline
