// One destination's side of the copying: a thread that writes and a thread that reads back.
#pragma once

#include <map>
#include <set>
#include <stop_token>
#include <thread>
#include <variant>

#include "offload/blocks.h"
#include "offload/copy.h"

namespace everytake::offload {

// What the writers and the reader tell copy_files().
using CopyEvent = std::variant<SourceReading, std::vector<StoredCopy>>;

// What the threads of one copying share.
struct Copying {
  CopyProgress& progress;
  BoundedQueue<CopyEvent>& events;
  std::stop_token stop;
};

class TargetWriter {
 public:
  // `target`, what `copying` names and whatever blocks come from outlive the writer.
  TargetWriter(std::size_t index, const Target& target, const Copying& copying);
  ~TargetWriter();  // waits for both threads; finish() first

  // For the reader's thread, in the order begin, block …, end or abandon. They wait while the writer is busy.
  void begin(const CopyJob& job);
  void block(BlockPool::Block bytes, std::size_t size);
  void end(const Digest& digest);
  void abandon();  // the file can't be read: what was written of it is removed
  void finish();   // no more files; what was given is completed
  // Gives up this destination if its disk has taken nothing for too long: the blocks queued for it are freed, and all
  // its further files fail.
  void leave_behind_if_hung();

 private:
  struct Begin {
    const CopyJob* job;
  };
  struct Bytes {
    BlockPool::Block block;
    std::size_t size;
  };
  struct End {
    const CopyJob* job;
    Digest digest;
  };
  struct Abandon {};
  using Piece = std::variant<Begin, Bytes, End, Abandon>;

  // A file whose bytes wait to be read back.
  struct Written {
    const CopyJob* job;
    Digest digest;
    bool found = false;  // it stood under its final name already: compare, don't copy
  };
  using Batch = std::vector<Written>;

  // -- the reader's thread --
  void give(Piece piece);
  void post_hung(const CopyJob& job);

  // -- the writing thread --
  void write_loop();
  void start_file(const CopyJob& job);
  void append(std::span<const std::byte> bytes);
  Result<void> open_part(const CopyJob& job);
  void finish_file(const Digest& digest);
  void drop_part();
  void fail_file(Error error);
  Result<void> ensure_folder(const Path& folder);
  void flush();

  // -- the verifying thread --
  void verify_loop();
  Result<StoredCopy::Proof> read_back(const Written& written);
  void give_way();
  std::vector<StoredCopy> finish_batch(const Batch& batch);
  Result<void> take_final_name(const Written& written);
  Result<FileStat> as_read_back(const Written& written, const FileStat& read) const;
  // -- any of them --
  Path part_of(const CopyJob& job) const;
  void post(std::vector<StoredCopy> copies);
  void post_failure(const CopyJob& job, Error error);

  const std::size_t index_;
  const Target& target_;
  CopyProgress& progress_;
  BoundedQueue<CopyEvent>& events_;
  const std::stop_token stop_;
  const bool group_sync_;          // one sync for many small files
  const bool keeps_file_numbers_;  // a file's number stays with it when it is renamed

  BoundedQueue<Piece> pieces_;
  BoundedQueue<Batch> batches_;

  // Used by the reader's thread only.
  const CopyJob* fed_ = nullptr;
  bool left_behind_ = false;       // nothing more is given
  std::chrono::seconds waited_{};  // for the disk, before it was left behind
  Wait::Clock::time_point looked_{};

  std::atomic<bool> reading_back_is_waited_for_{false};
  std::atomic<bool> syncing_all_{false};

  // Used by the writing thread only.
  const CopyJob* job_ = nullptr;
  std::unique_ptr<WriteFile> part_;
  std::uint64_t part_bytes_ = 0;
  bool found_ = false;
  std::optional<Error> failed_;  // what stopped the file being written
  std::optional<Error> lost_;    // what stopped this destination
  Batch batch_;
  std::uint64_t batch_bytes_ = 0;
  bool unsynced_ = false;          // some of the group was not synced by itself
  std::set<std::string> folders_;  // known to be there and durable

  std::jthread writer_;
  std::jthread verifier_;
};

}  // namespace everytake::offload
