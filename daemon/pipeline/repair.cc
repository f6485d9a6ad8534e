// Pipeline::repair: copies made from other copies, when the card is gone or is not needed.
#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <set>

#include "base/text.h"
#include "offload/plan_copies.h"
#include "os/random.h"
#include "pipeline/card_lock.h"
#include "pipeline/chosen_rolls.h"
#include "pipeline/copy_context.h"
#include "pipeline/copy_recorder.h"
#include "pipeline/copy_status.h"
#include "pipeline/match_destinations.h"
#include "pipeline/notes.h"
#include "pipeline/pipeline.h"
#include "pipeline/shoot_folders.h"

namespace everytake::pipeline {
namespace {

constexpr int kRounds = 4;  // a copy that stood in the way, and a source that turned out bad, take one more each

class Repair {
 public:
  Repair(CopyContext context, const CopyChoice& choice)
      : context_(std::move(context)), catalogue_(context_.catalogue), choice_(choice) {}

  Result<RepairReport> run() {
    matches_ = match_destinations(context_.destinations, TRY(catalogue_.destinations()));
    for (const auto& matched : matches_)
      if (matched.absence && wanted(matched)) report_.problems.push_back(*matched.absence);
    const auto rolls = TRY(rolls_with_work());
    if (!rolls.empty()) TRY(repair(rolls));
    report_.problems.insert(report_.problems.end(), round_problems_.begin(), round_problems_.end());
    for (const auto& [file, problem] : no_source_) report_.problems.push_back(problem);
    return std::move(report_);
  }

 private:
  using FileAt = std::pair<std::int64_t, std::size_t>;  // a file and an index in matches_

  // Looked at before any card is taken in hand: most of the time there is none.
  Result<std::vector<RollId>> rolls_with_work() {
    std::vector<RollId> found;
    const auto coming = TRY(rolls_in_other_hands(catalogue_));
    for (const auto& roll : TRY(catalogue_.rolls())) {
      const auto& only = choice_.rolls;
      if (!only.empty() && std::find(only.begin(), only.end(), roll.id) == only.end()) continue;
      if (only.empty() && coming.contains(roll.name)) {
        report_.left_out.push_back(roll.name);
        continue;
      }
      if (!TRY(what_to_repair({roll})).empty()) found.push_back(roll.id);
    }
    return found;
  }

  Result<void> repair(const std::vector<RollId>& rolls) {
    const auto chosen = TRY(ChosenRolls::take(catalogue_, rolls, when_busy(choice_), context_.clock));
    report_.left_out.insert(report_.left_out.end(), chosen.left_out().begin(), chosen.left_out().end());
    if (chosen.rolls().empty()) return {};
    for (int round = 0; round < kRounds && !report_.ended; ++round) {
      const auto work = TRY(what_to_repair(chosen.rolls()));
      if (work.empty()) break;
      again_ = false;
      round_problems_.clear();  // this round tells what is left
      for (const auto& [source, files] : work) TRY(copy_from(matches_[source], files, chosen.files()));
      if (!again_) break;
    }
    return leave_notes(chosen.rolls());
  }

  bool wanted(const MatchedDestination& matched) const {
    return !choice_.destination || matched.open->planned.name == *choice_.destination;
  }

  bool should_hold(const catalogue::FileRow& file, const MatchedDestination& matched) const {
    if (!matched.is_here() || !wanted(matched)) return false;
    if (is_planned(context_.plan, matched.open->planned.name)) return true;
    return std::any_of(file.copies.begin(), file.copies.end(),
                       [&](const auto& c) { return c.destination == matched.id; });
  }

  struct Wanting {
    catalogue::FileRow file;
    catalogue::CopyRow from;
    std::vector<std::size_t> lacking;  // indices in matches_, of those that lack it
  };

  // By the index to read from. A file without a good copy in reach is a problem.
  Result<std::map<std::size_t, std::vector<Wanting>>> what_to_repair(const std::vector<catalogue::Roll>& rolls) {
    std::map<std::size_t, std::vector<Wanting>> work;
    for (const auto& roll : rolls)
      for (auto& file : TRY(catalogue_.files_of_roll(roll.id))) {
        Wanting each;
        std::optional<std::size_t> source;
        for (std::size_t i = 0; i < matches_.size(); ++i) {
          const auto* good =
              file.digest && !bad_sources_.count({file.id.value, i}) ? good_copy(file, matches_[i]) : nullptr;
          if (good && !source) {
            source = i;
            each.from = *good;
          }
          if (!good && should_hold(file, matches_[i])) each.lacking.push_back(i);
        }
        no_source_.erase(file.id);
        if (each.lacking.empty()) continue;
        each.file = std::move(file);
        if (source)
          work[*source].push_back(std::move(each));
        else
          no_source(roll, each.file);
      }
    return work;
  }

  void no_source(const catalogue::Roll& roll, const catalogue::FileRow& file) {
    no_source_[file.id] = {
        ProblemCode::no_good_copy, file.file.path.string(), "",
        fmt::format("{}/{}: no good copy is in reach: connect the other disks, or offload the card again",
                    shown(roll.name), shown(file.file.path.string()))};
  }

  // `known`: all files of the rolls, for the names that are taken.
  Result<void> copy_from(const MatchedDestination& source, const std::vector<Wanting>& files,
                         const std::vector<catalogue::FileRow>& known) {
    std::vector<MatchedDestination> targets;
    std::vector<offload::Target> disks;
    std::vector<std::size_t> indices;
    const auto token = TRY(token_of(catalogue_));
    for (std::size_t i = 0; i < matches_.size(); ++i) {
      auto& matched = matches_[i];
      if (!matched.is_here() || std::ranges::none_of(files, [&](const auto& w) { return lacks(w, i); })) continue;
      if (!TRY(may_receive(matched))) continue;
      targets.push_back(matched);
      disks.push_back({matched.open->planned.name, matched.open->fs.get(), token});
      indices.push_back(i);
    }
    if (targets.empty()) return {};
    const auto plan = plan_from(files, known, targets, indices);
    CopyRecorder recorder(catalogue_, context_.clock, targets, context_.watcher);
    recorder.reading_copies(source.open->planned.name).begin(plan.jobs);
    context_.watcher.started(start_of("repairing", plan, disks));
    const auto done = offload::copy_files(*source.open->fs, plan.jobs, disks, {}, recorder, context_.stop);
    if (!done && done.error().code != Code::gone) {
      if (done.error().code != Code::cancelled) return tl::unexpected(done.error());
      report_.ended = done.error();
    }
    return take_stock(source, files, indices, recorder);
  }

  // Whether copies may go there; else why not is a problem, and it counts as absent from here on.
  Result<bool> may_receive(MatchedDestination& matched) {
    if (!taken_in_hand_.insert(matched.open).second) return matched.is_here();
    const auto notes_lock = TRY(CardLock::take_notes(catalogue_, context_.clock));
    auto taken = TRY(take_in_hand(catalogue_, context_.plan, matched, stamp_));
    if (!taken.refusal) return true;
    matched.absence = *taken.refusal;
    report_.problems.push_back(std::move(*taken.refusal));
    return false;
  }

  static bool lacks(const Wanting& each, std::size_t matched) {
    return std::find(each.lacking.begin(), each.lacking.end(), matched) != each.lacking.end();
  }

  // What fits, as for a card; the source's copies are read, and must give the digests the card gave.
  offload::CopyPlan plan_from(const std::vector<Wanting>& files, const std::vector<catalogue::FileRow>& known,
                              const std::vector<MatchedDestination>& targets, const std::vector<std::size_t>& indices) {
    std::vector<Path> paths;
    for (const auto& row : known) paths.push_back(row.file.path);
    const auto odd = offload::unusual_in(paths);
    std::vector<offload::NamesThere> names;
    for (const auto& target : targets) names.push_back(names_at(*target.open->fs, target.home, odd, known, target.id));
    std::vector<offload::FileToCopy> wanted;
    std::map<std::int64_t, std::optional<Digest>> digests;
    for (const auto& each : files) {
      const auto& path = each.file.file.path;
      const auto roll = roll_folder(each.from.stored, path).filename();
      offload::FileToCopy file{each.file.id, each.file.file, targets[0].home / roll / path, {}};
      file.source.path = each.from.stored;
      for (std::size_t t = 0; t < indices.size(); ++t) {
        if (!lacks(each, indices[t])) file.done.insert(t);
        const auto folder = targets[t].home / roll;
        if (auto there = names[t].takes_all() ? folder / path : names[t].of(folder, path); there != file.stored)
          file.otherwise[t] = std::move(there);
      }
      digests[each.file.id.value] = each.file.digest;
      wanted.push_back(std::move(file));
    }
    std::vector<offload::TargetRoom> rooms;
    for (const auto index : indices) {
      auto& open = *matches_[index].open;
      if (auto now = open.fs->volume()) open.volume.free_bytes = now->free_bytes;
      rooms.push_back({open.planned.name, open.volume});
    }
    auto plan = offload::plan_copies(wanted, rooms);
    for (auto& job : plan.jobs) job.expected = digests.at(job.file.value);
    round_problems_.insert(round_problems_.end(), plan.problems.begin(), plan.problems.end());
    return plan;
  }

  // Counts what is repaired, sets aside what stands in the way, and remembers sources that are no good.
  Result<void> take_stock(const MatchedDestination& source, const std::vector<Wanting>& files,
                          const std::vector<std::size_t>& indices, const CopyRecorder& recorder) {
    for (const auto& problem : recorder.problems()) round_problems_.push_back(problem);
    for (const auto& [file, error] : recorder.unread()) {
      const auto index = static_cast<std::size_t>(&source - matches_.data());
      bad_sources_.insert({file, index});
      again_ = true;
      if (error.code == Code::corrupt) TRY(note_bad(source, files, file));
    }
    for (std::size_t t = 0; t < indices.size(); ++t)
      if (const auto verified = recorder.verified(t); verified > 0)
        report_.repaired[matches_[indices[t]].open->planned.name] += verified;
    for (const auto& [key, failure] : recorder.failures()) {
      const auto& matched = matches_[indices[key.second]];
      const auto each =
          std::find_if(files.begin(), files.end(), [id = key.first](const auto& w) { return w.file.id.value == id; });
      const auto code = failure.error.code;
      if (code != Code::exists && code != Code::io && code != Code::corrupt) continue;
      if (code == Code::exists && !is_left_by_a_visit(*matched.open->fs, each->file, matched.id, failure.stored))
        continue;  // a person's, and stays
      const bool moved = is_own_home(catalogue_, matched).value_or(false) &&
                         set_aside(*matched.open->fs, failure.stored, each->file.file.path);
      again_ = again_ || moved || code != Code::exists;
    }
    return {};
  }

  // A copy that was called verified gave other bytes: it must not count any more.
  Result<void> note_bad(const MatchedDestination& source, const std::vector<Wanting>& files, std::int64_t id) {
    const auto each = std::find_if(files.begin(), files.end(), [&](const auto& w) { return w.file.id.value == id; });
    auto row = each->from;
    row.state = CopyState::failed;
    row.readback = std::nullopt;
    row.verified_at = std::nullopt;
    const auto& name = source.open->planned.name;
    report_.problems.push_back(
        {ProblemCode::bytes_differ, row.stored.string(), name,
         fmt::format("\"{}\": {} is not what the card held", shown(name), shown(row.stored.string()))});
    return catalogue_.record_copies(std::span(&row, 1));
  }

  Result<void> leave_notes(const std::vector<catalogue::Roll>& rolls) {
    for (const auto& matched : matches_) {
      if (!report_.repaired.count(matched.open->planned.name)) continue;
      for (const auto& roll : rolls)
        if (auto problem = TRY(leave_manifests(catalogue_, roll, matched, context_.stop)))
          report_.problems.push_back(std::move(*problem));
    }
    if (report_.repaired.empty()) return {};
    std::vector<MatchedDestination> here;
    for (const auto& matched : matches_)
      if (is_own_home(catalogue_, matched).value_or(false)) here.push_back(matched);
    for (auto& problem : leave_catalogue(catalogue_, context_.plan, context_.clock, here))
      report_.problems.push_back(std::move(problem));
    return {};
  }

  const CopyContext context_;
  catalogue::Catalogue& catalogue_;
  const CopyChoice& choice_;

  RepairReport report_;
  std::vector<MatchedDestination> matches_;
  std::set<FileAt> bad_sources_;
  std::set<const OpenDestination*> taken_in_hand_;
  const std::string stamp_ = random_id();
  std::vector<Problem> round_problems_;  // of the last round
  std::map<FileId, Problem> no_source_;  // files without a good copy in reach
  bool again_ = false;                   // another round may help
};

}  // namespace

Result<RepairReport> Pipeline::repair(std::span<OpenDestination> destinations, const CopyChoice& choice,
                                      const IngestWatcher& watcher, std::stop_token stop) {
  CopyContext context{catalogue_, plan_, clock_, destinations, watcher, std::move(stop)};
  return Repair(std::move(context), choice).run();
}

}  // namespace everytake::pipeline
