// The copying itself: one reading of the card, every destination written at once, each copy read back.
//
// The promise, for each file and destination: bytes synced → read back from the disk and equal → renamed without
// replacing, and what has the name now is what was read back → folder synced → told to the observer, who records it. A
// file under its final name is what the card held.
#pragma once

#include <atomic>
#include <chrono>
#include <map>
#include <memory>
#include <optional>
#include <span>
#include <stop_token>
#include <string>
#include <vector>

#include "model.h"
#include "offload/hash.h"
#include "os/fs.h"

namespace everytake::offload {

struct Target {
  std::string name;
  Fs* fs = nullptr;            // rooted at the destination's folder; outlives the copying
  std::string token = "file";  // of its unfinished files' names: no other catalogue's may be the same
};

struct CopyJob {
  FileId file;
  CardFile source;
  Path stored;                              // where a target keeps it
  std::vector<std::size_t> targets;         // which of them need it; none when the card is only to be read again
  std::optional<Digest> expected{};         // where it is known
  std::map<std::size_t, Path> otherwise{};  // targets that can't hold that name, and where they keep it

  // What a reading is worth that gives another digest than the expected one.
  enum class Other {
    never,     // nothing: it fails as `corrupt`
    if_twice,  // it counts where a second, cold one agrees: then the bytes have changed, or were read wrong before
  };
  Other other = Other::never;
  bool doubtful = false;  // an earlier reading failed or gave other bytes: nothing counts but two that agree

  const Path& stored_at(std::size_t target) const;
};

struct SourceReading {
  struct Digests {
    Digest whole, sample;
  };
  FileId file;
  CardFile source;
  Result<Digests> digests;  // `corrupt` when two readings differed
  int readings = 1;         // how many whole readings in a row gave them
};

struct StoredCopy {
  FileId file;
  std::size_t target = 0;
  struct Proof {
    FileStat stat;  // under its final name
    Evidence evidence = Evidence::cached;
    Digest digest{};  // that was read back
  };
  Result<Proof> proof;
};

// Since when a thread waits for a disk that gives no sign of life, if it does. Any thread may ask.
class Wait {
 public:
  using Clock = std::chrono::steady_clock;

  void begin() { since_ = Clock::now().time_since_epoch().count(); }
  void end() { since_ = 0; }
  // Another thread was served by the same disk: the waiting begins anew.
  void sign_of_life() {
    auto since = since_.load();
    if (since != 0) since_.compare_exchange_strong(since, Clock::now().time_since_epoch().count());
  }
  Clock::duration so_far() const {
    const Clock::duration since(since_.load());
    return since.count() == 0 ? since : Clock::now().time_since_epoch() - since;
  }

 private:
  std::atomic<Clock::rep> since_{0};
};

// Bytes so far; written by the copying threads, read by whoever shows them.
struct CopyProgress {
  explicit CopyProgress(std::size_t targets)
      : written(targets), verified(targets), waits(targets), read_back_waits(targets) {}
  std::atomic<std::uint64_t> read{0};
  std::vector<std::atomic<std::uint64_t>> written, verified;
  std::vector<Wait> waits, read_back_waits;  // by target, for its disk to write and to read back
};

// Told on the thread that called copy_files().
class CopyObserver {
 public:
  virtual ~CopyObserver() = default;
  // What was read, in order, and what was stored since the last call: durable when this is called. What comes within
  // a tenth of a second is told together, so that small files are recorded many at a time. An error ends the copying:
  // what can't be recorded must not be called verified.
  virtual Result<void> record(std::span<const SourceReading> readings, std::span<const StoredCopy> copies) = 0;
  virtual void tick(const CopyProgress& progress) = 0;  // a few times a second
};

struct CopyOptions {
  bool read_twice = false;  // read the card a second time, cold, and compare
};

// Copies `jobs` in order. A file that can't be read, or a destination that fails, is told to the observer and the rest
// goes on. Fails with `gone` when the card goes away, `cancelled` when asked to stop (within a second; nothing is
// lost, the next run goes on; but see below), or with the observer's error.
//
// A destination that takes nothing for a minute while the card waits for it is left behind: the others go on. It has
// ten while small files are made durable together, as that writes what other programs left to the same disk, too. The
// copying ends only when its disk answers again, for what it is in the midst of can't be taken from it.
// CopyProgress::waits tells.
Result<void> copy_files(const ReadFs& card, std::span<const CopyJob> jobs, std::span<const Target> targets,
                        CopyOptions options, CopyObserver& observer, std::stop_token stop);

}  // namespace everytake::offload
