// The copying's words put into the catalogue.
#pragma once

#include <map>
#include <set>
#include <string>
#include <vector>

#include "pipeline/match_destinations.h"
#include "pipeline/pipeline.h"

namespace everytake::pipeline {

// Writes down what the copying tells: what is not written down did not happen. Remembers what went wrong.
class CopyRecorder final : public offload::CopyObserver {
 public:
  // `targets` as copy_files() counts them. References outlive it.
  CopyRecorder(catalogue::Catalogue& catalogue, const Clock& clock, std::vector<MatchedDestination> targets,
               const IngestWatcher& watcher);
  // What is read is no card but the copies at a destination: nothing is written down of the card then.
  CopyRecorder& reading_copies(const std::string& destination) {
    copies_at_ = destination;
    return *this;
  }
  // `jobs` are all that it will be told of next; they outlive that. Forgets what is to be retried.
  void begin(std::span<const offload::CopyJob> jobs);

  Result<void> record(std::span<const offload::SourceReading> readings,
                      std::span<const offload::StoredCopy> copies) override;
  void tick(const offload::CopyProgress& progress) override { watcher_.progress(progress); }

  // Files whose bytes went wrong on their way, whose name is taken, or that gave other bytes than before: worth one
  // more try at each target that did not fail in another way.
  const std::set<FileId>& to_retry() const { return to_retry_; }
  bool may_retry(FileId file, std::size_t target) const;
  // Files of which two readings in a row gave other bytes than were known of them, since this was asked last.
  std::vector<std::int64_t> take_moved() { return std::exchange(moved_, {}); }

  // Copies that came to a good end, or to a bad one, at a target; and those of the good ones that count.
  std::size_t stored(std::size_t target) const { return counts_[target].stored; }
  std::size_t verified(std::size_t target) const { return counts_[target].verified; }
  std::size_t failed(std::size_t target) const;
  std::vector<Problem> problems() const;
  using Key = std::pair<std::int64_t, std::size_t>;  // file and target
  struct Failure {
    Error error;
    Path stored;
  };
  const std::map<Key, Failure>& failures() const { return failures_; }
  const std::map<std::int64_t, Error>& unread() const { return unread_files_; }  // files that could not be read

 private:
  void note_reading(const offload::SourceReading& reading);
  catalogue::CopyRow row_of(const offload::StoredCopy& copy) const;

  catalogue::Catalogue& catalogue_;
  const Clock& clock_;
  const std::vector<MatchedDestination> targets_;
  std::map<std::int64_t, const offload::CopyJob*> jobs_;
  const IngestWatcher& watcher_;
  std::map<std::string, Problem> unread_;  // by path
  struct Counts {
    std::size_t stored = 0, verified = 0;
  };
  std::vector<Counts> counts_;  // by target
  std::map<Key, Failure> failures_;
  std::map<std::int64_t, Error> unread_files_;
  std::set<FileId> to_retry_;
  std::vector<std::int64_t> moved_;
  std::map<std::int64_t, Digest> moved_to_;
  std::optional<std::string> copies_at_;
};

}  // namespace everytake::pipeline
