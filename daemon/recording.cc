#include "recording.h"

#include <fmt/format.h>

#include <algorithm>

#include "base/text.h"

namespace everytake {
namespace {

const char* problem_code(const Error& error) {
  switch (error.code) {
    case Code::corrupt:
      return "bytes_differ";
    case Code::exists:
      return "name_taken";
    case Code::no_space:
      return "no_room";
    case Code::gone:
    case Code::denied:
      return "destination_lost";
    default:
      return "copy_failed";
  }
}

}  // namespace

Recording::Recording(Catalogue& catalogue, const Clock& clock, std::vector<VisitPlace> targets,
                     std::span<const CopyJob> jobs, const IngestWatcher& watcher)
    : catalogue_(catalogue), clock_(clock), targets_(std::move(targets)), watcher_(watcher), counts_(targets_.size()) {
  for (const auto& job : jobs) jobs_[job.file.value] = &job;
}

Result<void> Recording::record(std::span<const SourceReading> readings, std::span<const StoredCopy> copies) {
  std::vector<FileReading> went_well;
  std::map<std::int64_t, std::string> went_wrong;  // a later reading may have gone well
  for (const auto& reading : readings) {
    const auto path = reading.source.path.string();
    const auto file = reading.file.value;
    if (reading.digests) {
      unread_.erase(path);
      unread_files_.erase(file);
      went_wrong.erase(file);
      const auto& [whole, sample] = *reading.digests;
      went_well.push_back({reading.file, whole.hex(), sample.hex(), reading.readings});
      continue;
    }
    const auto& error = reading.digests.error();
    const char* code = error.code == Code::corrupt ? "bytes_differ" : "unreadable";
    unread_[path] = {code, path, copies_at_.value_or(""), error.what};
    unread_files_.insert_or_assign(file, error);
    went_wrong[file] = error.what;
  }
  std::vector<CopyRow> rows;
  for (const auto& copy : copies) {
    rows.push_back(row_of(copy));
    const Key key{copy.file.value, copy.target};
    if (!copy.proof) {
      failures_.insert_or_assign(key, copy.proof.error());
      continue;
    }
    failures_.erase(key);
    ++counts_[copy.target].stored;
    counts_[copy.target].verified += rows.back().state == CopyState::verified;
  }
  if (copies_at_) return catalogue_.record_copies(rows);
  TRY(catalogue_.record_copies(rows, went_well));
  for (const auto& [file, what] : went_wrong) TRY(catalogue_.record_trouble(FileId{file}, what));
  return {};
}

std::vector<CopyJob> Recording::to_retry(const std::vector<CopyJob>& jobs) const {
  std::vector<CopyJob> again;
  for (auto job : jobs) {
    std::erase_if(job.targets, [&](std::size_t target) {
      const auto it = failures_.find({job.file.value, target});
      return it == failures_.end() || (it->second.code != Code::corrupt && it->second.code != Code::io);
    });
    if (!job.targets.empty()) again.push_back(std::move(job));
  }
  return again;
}

std::size_t Recording::failed(std::size_t target) const {
  return static_cast<std::size_t>(
      std::ranges::count_if(failures_, [&](const auto& failure) { return failure.first.second == target; }));
}

std::vector<Problem> Recording::problems() const {
  std::vector<Problem> all;
  for (const auto& [path, problem] : unread_) all.push_back(problem);
  for (const auto& [key, error] : failures_) {
    const auto& name = targets_[key.second].open->planned.name;
    all.push_back(
        {problem_code(error), stored_at(key).string(), name, fmt::format("\"{}\": {}", shown(name), error.what)});
  }
  return all;
}

CopyRow Recording::row_of(const StoredCopy& copy) const {
  const auto& target = targets_[copy.target];
  CopyRow row;
  row.file = copy.file;
  row.destination = target.id;
  row.stored = stored_at({copy.file.value, copy.target});
  row.state = CopyState::failed;
  if (!copy.proof) return row;
  const bool counts = copy.proof->evidence != Evidence::cached || target.open->planned.accept_cached;
  row.state = counts ? CopyState::verified : CopyState::copied;
  row.readback = copy.proof->evidence;
  row.verified_at = clock_.now();
  row.stat = copy.proof->stat;
  return row;
}

}  // namespace everytake
