// Pipeline::verify: every copy read back again.
#include <fmt/format.h>

#include "base/parallel.h"
#include "base/sync.h"
#include "base/text.h"
#include "offload/hash.h"
#include "os/random.h"
#include "pipeline/card_lock.h"
#include "pipeline/chosen_rolls.h"
#include "pipeline/match_destinations.h"
#include "pipeline/pipeline.h"
#include "pipeline/shoot_folders.h"

namespace everytake::pipeline {
namespace {

constexpr std::size_t kRowsAtOnce = 200;                        // recorded in one transaction
constexpr std::uint64_t kBytesAtOnce = std::uint64_t{1} << 30;  // the most that a kill makes to be read again

// One destination's copies, on a thread of their own.
class CopiesReading {
 public:
  CopiesReading(catalogue::Catalogue& catalogue, const Clock& clock, const MatchedDestination& matched,
                std::stop_token stop)
      : catalogue_(catalogue), clock_(clock), matched_(matched), stop_(std::move(stop)) {
    report.name = matched.open->planned.name;
    report.path = matched.open->planned.path;
    report.is_here = matched.is_here();
    if (matched.absence) problems.push_back(*matched.absence);
  }

  // A file that should be there; `wanted` says whether it should although no row speaks of it.
  void add(const catalogue::FileRow& file, bool wanted) {
    for (const auto& copy : file.copies)
      if (copy.destination == matched_.id) {
        work_.push_back({&file, &copy});
        ++report.files;
        return;
      }
    if (!wanted) return;
    ++report.files;
    ++report.unfinished;
  }

  std::uint64_t bytes() const {
    std::uint64_t sum = 0;
    for (const auto& [file, copy] : work_) sum += file->file.size;
    return matched_.is_here() ? sum : 0;
  }

  void run(const std::function<void(std::uint64_t)>& read) {
    if (!matched_.is_here()) return;
    for (const auto& [file, copy] : work_) {
      if (stop_.stop_requested() || !outcome) return;
      // One that failed and never was good may be another's file under that name.
      const bool was_good = copy->state != CopyState::planned && (copy->state != CopyState::failed || copy->digest);
      if (!was_good || !file->digest)
        ++report.unfinished;
      else if (auto done = look(*file, *copy); !done)
        outcome = done;
      read(file->file.size);
    }
    if (outcome) outcome = record();
  }

  CopiesReport report;
  std::vector<Problem> problems;
  Result<void> outcome;

 private:
  struct Work {
    const catalogue::FileRow* file;
    const catalogue::CopyRow* copy;
  };

  // Fails only with what ends the reading.
  Result<void> look(const catalogue::FileRow& file, const catalogue::CopyRow& copy) {
    const auto& fs = *matched_.open->fs;
    const auto reading = offload::hash_file(fs, copy.stored, Cache::avoid, stop_);
    if (!reading && reading.error().code == Code::cancelled) return tl::unexpected(reading.error());
    if (!reading) return blame(copy, reading.error());
    if (reading->digest != file.digest) {
      ++report.differing;
      return bad(copy, ProblemCode::bytes_differ, "is not what the card held");
    }
    const bool counts = reading->evidence != Evidence::cached || matched_.open->planned.accept_cached;
    if (!counts) {
      ++report.unproven;  // what an earlier reading has shown stands
      return {};
    }
    ++report.verified;
    report.bytes += reading->bytes;
    report.readback = std::max(report.readback.value_or(Evidence::direct), reading->evidence);
    auto row = copy;
    row.state = CopyState::verified;
    row.readback = reading->evidence;
    row.verified_at = clock_.now();
    row.stat = reading->stat;
    row.digest = file.digest;
    return note(std::move(row), reading->bytes);
  }

  Result<void> blame(const catalogue::CopyRow& copy, const Error& error) {
    if (error.code == Code::not_found) {
      ++report.missing;
      return bad(copy, ProblemCode::missing_copy, "is not there any more");
    }
    ++report.unreadable;
    return bad(copy, ProblemCode::copy_unreadable, "can't be read back: " + error.what);
  }

  // Recorded at once: whatever happens next, this copy must not count.
  Result<void> bad(const catalogue::CopyRow& copy, ProblemCode code, const std::string& what) {
    const auto& name = matched_.open->planned.name;
    problems.push_back({code, copy.stored.string(), name,
                        fmt::format("\"{}\": {} {}", shown(name), shown(copy.stored.string()), what)});
    auto row = copy;
    row.state = CopyState::failed;
    row.readback = std::nullopt;
    row.verified_at = std::nullopt;
    rows_.push_back(std::move(row));
    return record();
  }

  Result<void> note(catalogue::CopyRow row, std::uint64_t bytes) {
    rows_.push_back(std::move(row));
    unrecorded_ += bytes;
    return rows_.size() < kRowsAtOnce && unrecorded_ < kBytesAtOnce ? Result<void>() : record();
  }

  Result<void> record() {
    const auto rows = std::exchange(rows_, {});
    unrecorded_ = 0;
    return rows.empty() ? Result<void>() : catalogue_.record_copies(rows);
  }

  catalogue::Catalogue& catalogue_;
  const Clock& clock_;
  const MatchedDestination matched_;
  const std::stop_token stop_;
  std::vector<Work> work_;
  std::vector<catalogue::CopyRow> rows_;
  std::uint64_t unrecorded_ = 0;
};

// Runs all at once and says together how far they are.
void read_all(std::vector<std::unique_ptr<CopiesReading>>& readings, const VerifyWatcher& watcher) {
  std::uint64_t total = 0;
  for (const auto& reading : readings) total += reading->bytes();
  Mutex mu;
  std::uint64_t done = 0;
  const auto read = [&](std::uint64_t bytes) {
    MutexLock lock(mu);
    done += bytes;
    watcher(done, total);
  };
  for_each_on_threads(readings.size(), readings.size(), [&](std::size_t i) { readings[i]->run(read); });
}

// A destination from before there were marks gets one: what is read back now is read from this folder. One that can't
// be written stays without.
Result<void> give_marks(catalogue::Catalogue& catalogue, const Plan& plan, const Clock& clock,
                        std::span<MatchedDestination> matches) {
  const auto stamp = random_id();
  for (auto& matched : matches) {
    if (!matched.is_here() || !matched.id.value || !matched.mark.empty()) continue;
    const auto notes_lock = TRY(CardLock::take_notes(catalogue, clock));
    TRY(take_in_hand(catalogue, plan, matched, stamp));
  }
  return {};
}

}  // namespace

Result<VerifyReport> Pipeline::verify(std::span<OpenDestination> destinations, const CopyChoice& choice,
                                      const VerifyWatcher& watcher, std::stop_token stop) {
  const auto chosen = TRY(ChosenRolls::take(catalogue_, choice.rolls, when_busy(choice), clock_));
  if (chosen.rolls().empty() && chosen.busy()) return tl::unexpected(*chosen.busy());
  auto matches = match_destinations(destinations, TRY(catalogue_.destinations()));
  TRY(give_marks(catalogue_, plan_, clock_, matches));
  std::vector<std::unique_ptr<CopiesReading>> readings;
  for (const auto& matched : matches) {
    if (choice.destination && matched.open->planned.name != *choice.destination) continue;
    auto reading = std::make_unique<CopiesReading>(catalogue_, clock_, matched, stop);
    for (const auto& file : chosen.files()) reading->add(file, is_planned(plan_, matched.open->planned.name));
    readings.push_back(std::move(reading));
  }
  read_all(readings, watcher);

  VerifyReport report;
  report.left_out = chosen.left_out();
  for (const auto& reading : readings) {
    if (!reading->outcome && reading->outcome.error().code != Code::cancelled)
      return tl::unexpected(reading->outcome.error());
    report.destinations.push_back(reading->report);
    report.problems.insert(report.problems.end(), reading->problems.begin(), reading->problems.end());
  }
  if (stop.stop_requested()) report.ended = Error{Code::cancelled, "stopped; what was read back is noted", 0};
  return report;
}

}  // namespace everytake::pipeline
