#include "pipeline/copy_recorder.h"

#include <fmt/format.h>

#include <algorithm>

#include "base/text.h"

namespace everytake::pipeline {
namespace {

ProblemCode problem_code(const Error& error) {
  switch (error.code) {
    case Code::corrupt:
      return ProblemCode::bytes_differ;
    case Code::exists:
      return ProblemCode::name_taken;
    case Code::no_space:
      return ProblemCode::no_room;
    case Code::gone:
    case Code::denied:
      return ProblemCode::destination_lost;
    default:
      return ProblemCode::copy_failed;
  }
}

}  // namespace

CopyRecorder::CopyRecorder(catalogue::Catalogue& catalogue, const Clock& clock, std::vector<MatchedDestination> targets,
                           const IngestWatcher& watcher)
    : catalogue_(catalogue), clock_(clock), targets_(std::move(targets)), watcher_(watcher), counts_(targets_.size()) {}

void CopyRecorder::begin(std::span<const offload::CopyJob> jobs) {
  jobs_.clear();
  for (const auto& job : jobs) jobs_[job.file.value] = &job;
  to_retry_.clear();
}

void CopyRecorder::note_reading(const offload::SourceReading& reading) {
  const auto path = reading.source.path.string();
  const auto file = reading.file.value;
  if (reading.digests) {
    unread_.erase(path);
    unread_files_.erase(file);
    const auto& whole = reading.digests->whole;
    const auto before = moved_to_.contains(file) ? moved_to_.at(file) : jobs_.at(file)->expected.value_or(whole);
    if (before == whole) return;
    moved_to_[file] = whole;
    moved_.push_back(file);
    to_retry_.insert(reading.file);
    return;
  }
  const auto& error = reading.digests.error();
  const auto code = error.code == Code::corrupt ? ProblemCode::bytes_differ : ProblemCode::unreadable;
  unread_[path] = {code, path, copies_at_.value_or(""), error.what};
  unread_files_.insert_or_assign(file, error);
}

Result<void> CopyRecorder::record(std::span<const offload::SourceReading> readings,
                                  std::span<const offload::StoredCopy> copies) {
  std::vector<catalogue::FileReading> went_well;
  std::map<std::int64_t, std::string> went_wrong;  // a later reading may have gone well
  for (const auto& reading : readings) {
    note_reading(reading);
    const auto file = reading.file.value;
    const auto& job = *jobs_.at(file);
    // What another card's copy gives, right or wrong, says nothing of the card that the file is from.
    if (job.expected && job.other == offload::CopyJob::Other::never) continue;
    if (!reading.digests) {
      went_wrong[file] = reading.digests.error().what;
      continue;
    }
    went_wrong.erase(file);
    const auto& [whole, sample] = *reading.digests;
    went_well.push_back({reading.file, whole, sample, reading.readings});
  }
  std::vector<catalogue::FileTrouble> troubles;
  for (const auto& [file, what] : went_wrong) troubles.push_back({FileId{file}, what});
  std::vector<catalogue::CopyRow> rows;
  for (const auto& copy : copies) {
    rows.push_back(row_of(copy));
    const Key key{copy.file.value, copy.target};
    if (!copy.proof) {
      failures_.insert_or_assign(key, Failure{copy.proof.error(), rows.back().stored});
      if (may_retry(copy.file, copy.target)) to_retry_.insert(copy.file);
      continue;
    }
    failures_.erase(key);
    ++counts_[copy.target].stored;
    counts_[copy.target].verified += rows.back().state == CopyState::verified;
  }
  if (copies_at_) return catalogue_.record_copies(rows);
  return catalogue_.record_copies(rows, went_well, troubles);
}

bool CopyRecorder::may_retry(FileId file, std::size_t target) const {
  const auto it = failures_.find({file.value, target});
  if (it == failures_.end()) return true;
  const auto code = it->second.error.code;
  return code == Code::corrupt || code == Code::io || code == Code::exists;
}

std::size_t CopyRecorder::failed(std::size_t target) const {
  return static_cast<std::size_t>(
      std::ranges::count_if(failures_, [&](const auto& failure) { return failure.first.second == target; }));
}

std::vector<Problem> CopyRecorder::problems() const {
  std::vector<Problem> all;
  for (const auto& [path, problem] : unread_) all.push_back(problem);
  for (const auto& [key, failure] : failures_) {
    const auto& name = targets_[key.second].open->planned.name;
    all.push_back({problem_code(failure.error), failure.stored.string(), name,
                   fmt::format("\"{}\": {}", shown(name), failure.error.what)});
  }
  return all;
}

catalogue::CopyRow CopyRecorder::row_of(const offload::StoredCopy& copy) const {
  const auto& target = targets_[copy.target];
  catalogue::CopyRow row;
  row.file = copy.file;
  row.destination = target.id;
  row.stored = jobs_.at(copy.file.value)->stored_at(copy.target);
  row.state = CopyState::failed;
  if (!copy.proof) return row;
  const bool counts = copy.proof->evidence != Evidence::cached || target.open->planned.accept_cached;
  row.state = counts ? CopyState::verified : CopyState::copied;
  row.readback = copy.proof->evidence;
  row.verified_at = clock_.now();
  row.stat = copy.proof->stat;
  row.digest = copy.proof->digest;
  return row;
}

}  // namespace everytake::pipeline
