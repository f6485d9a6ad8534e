// The copying's words put into the catalogue.
#pragma once

#include <map>
#include <string>
#include <vector>

#include "pipeline.h"

namespace everytake {

// A destination of a visit.
struct VisitPlace {
  OpenDestination* open = nullptr;
  DestinationId id;
  std::optional<std::size_t> target;  // its index among those copied to
};

// Writes down what the copying tells: what is not written down did not happen. Remembers what went wrong.
class Recording final : public CopyObserver {
 public:
  // `targets` as copy_files() counts them; `jobs` are all there will be told of. References outlive it.
  Recording(Catalogue& catalogue, const Clock& clock, std::vector<VisitPlace> targets, std::span<const CopyJob> jobs,
            const IngestWatcher& watcher);
  // What is read is no card but the copies at a destination: nothing is written down of the card then.
  Recording& reading_copies(const std::string& destination) {
    copies_at_ = destination;
    return *this;
  }

  Result<void> record(std::span<const SourceReading> readings, std::span<const StoredCopy> copies) override;
  void tick(const CopyProgress& progress) override { watcher_.progress(progress); }

  // Jobs whose bytes went wrong on their way, at destinations that are still there: worth one more try.
  std::vector<CopyJob> to_retry(const std::vector<CopyJob>& jobs) const;
  // Copies that came to a good end, or to a bad one, at a target; and those of the good ones that count.
  std::size_t stored(std::size_t target) const { return counts_[target].stored; }
  std::size_t verified(std::size_t target) const { return counts_[target].verified; }
  std::size_t failed(std::size_t target) const;
  std::vector<Problem> problems() const;
  using Key = std::pair<std::int64_t, std::size_t>;  // file and target
  const std::map<Key, Error>& failures() const { return failures_; }
  const Path& stored_at(const Key& key) const { return jobs_.at(key.first)->stored_at(key.second); }
  const std::map<std::int64_t, Error>& unread() const { return unread_files_; }  // files that could not be read

 private:
  CopyRow row_of(const StoredCopy& copy) const;

  Catalogue& catalogue_;
  const Clock& clock_;
  const std::vector<VisitPlace> targets_;
  std::map<std::int64_t, const CopyJob*> jobs_;
  const IngestWatcher& watcher_;
  std::map<std::string, Problem> unread_;  // by path
  struct Counts {
    std::size_t stored = 0, verified = 0;
  };
  std::vector<Counts> counts_;  // by target
  std::map<Key, Error> failures_;
  std::map<std::int64_t, Error> unread_files_;
  std::optional<std::string> copies_at_;
};

}  // namespace everytake
