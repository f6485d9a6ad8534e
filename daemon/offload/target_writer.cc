#include "offload/target_writer.h"

#include <fmt/format.h>

#include "base/parallel.h"
#include "base/text.h"
#include "os/volume.h"

namespace everytake::offload {
namespace {

// Files up to this size are synced in groups: a sync each would cost a hundred times the copying (measured).
constexpr std::uint64_t kSmallFile = std::uint64_t{1} << 20;
constexpr std::size_t kGroupFiles = 500;
constexpr std::uint64_t kGroupBytes = std::uint64_t{64} << 20;

// Pieces that may wait for a destination. Blocks are counted by their pool; this bounds the small ones.
constexpr std::size_t kWaitingPieces = 64;
constexpr std::size_t kWaitingBatches = 4;

// Blocks that wait for a disk before its reading back gives way, and for how long it does at each block.
constexpr std::size_t kPiledUp = 4;
constexpr std::chrono::milliseconds kGivenWay{40};

// How long a disk may take nothing while the card waits for it, and how often that is looked at. Making all of a disk
// durable writes what other programs left to be written, too.
constexpr std::chrono::seconds kPatience{60}, kPatienceWithAll{600};
constexpr std::chrono::milliseconds kLookAgain{200};

bool numbers_last(const Fs& fs) {
  const auto volume = fs.volume();
  return volume && keeps_file_numbers(volume->filesystem);
}

// Errors after which nothing more will go to this destination.
bool ends_destination(Code code) {
  return code == Code::no_space || code == Code::gone || code == Code::denied;
}

}  // namespace

TargetWriter::TargetWriter(std::size_t index, const Target& target, const Copying& copying)
    : index_(index),
      target_(target),
      progress_(copying.progress),
      events_(copying.events),
      stop_(copying.stop),
      group_sync_(target.fs->tells_sync_errors()),
      keeps_file_numbers_(numbers_last(*target.fs)),
      pieces_(kWaitingPieces),
      batches_(kWaitingBatches),
      writer_([this] { write_loop(); }),
      verifier_([this] { verify_loop(); }) {}

TargetWriter::~TargetWriter() {
  finish();
}

Path TargetWriter::part_of(const CopyJob& job) const {
  return job.stored_at(index_).parent_path() / fmt::format("{}-{}.everytake-part", target_.token, job.file.value);
}

void TargetWriter::begin(const CopyJob& job) {
  fed_ = &job;
  give(Begin{&job});
}
void TargetWriter::block(BlockPool::Block bytes, std::size_t size) {
  give(Bytes{std::move(bytes), size});
}
void TargetWriter::end(const Digest& digest) {
  give(End{fed_, digest});
}
void TargetWriter::abandon() {
  give(Abandon{});
}
void TargetWriter::give(Piece piece) {
  while (!left_behind_ && !pieces_.push_until(piece, std::chrono::steady_clock::now() + kLookAgain))
    if (stop_.stop_requested())
      left_behind_ = true;
    else
      leave_behind_if_hung();
  if (left_behind_ && !stop_.stop_requested() && std::holds_alternative<End>(piece)) post_hung(*fed_);
}

void TargetWriter::post_hung(const CopyJob& job) {
  post_failure(job, {Code::gone,
                     fmt::format("its disk took nothing for {} s: the others went on without it; look to its cable and "
                                 "power, then offload again",
                                 waited_.count()),
                     0});
}

void TargetWriter::leave_behind_if_hung() {
  const auto now = Wait::Clock::now();
  // While this program itself was stopped nobody looked: that proves nothing of the disk.
  if (now - std::exchange(looked_, now) > 10 * kLookAgain) progress_.waits[index_].sign_of_life();
  const auto patience = syncing_all_ ? kPatienceWithAll : kPatience;  // before the wait: that may begin anew meanwhile
  if (left_behind_ || progress_.waits[index_].so_far() < patience) return;
  left_behind_ = true;
  waited_ = patience;
  for (const auto& piece : pieces_.pop_all(now))
    if (const auto* end = std::get_if<End>(&piece)) post_hung(*end->job);
}

void TargetWriter::finish() {
  pieces_.close();
}

void TargetWriter::write_loop() {
  auto& wait = progress_.waits[index_];
  while (auto piece = pieces_.pop()) {
    wait.begin();
    if (const auto* begin = std::get_if<Begin>(&*piece)) {
      start_file(*begin->job);
    } else if (const auto* bytes = std::get_if<Bytes>(&*piece)) {
      append({bytes->block.get(), bytes->size});
    } else if (const auto* end = std::get_if<End>(&*piece)) {
      finish_file(end->digest);
    } else {
      drop_part();
    }
    wait.end();
  }
  wait.begin();
  drop_part();  // of a file whose end never came
  flush();
  wait.end();
  batches_.close();
}

void TargetWriter::append(std::span<const std::byte> bytes) {
  if (!part_) return;
  if (auto done = part_->append(bytes); !done) fail_file(done.error());
  part_bytes_ += bytes.size();
  progress_.written[index_] += bytes.size();
}

void TargetWriter::start_file(const CopyJob& job) {
  job_ = &job;
  part_bytes_ = 0;
  found_ = false;
  failed_ = lost_;
  if (failed_) return;
  if (auto opened = open_part(job); !opened) fail_file(opened.error());
}

Result<void> TargetWriter::open_part(const CopyJob& job) {
  TRY(ensure_folder(job.stored_at(index_).parent_path()));
  // A part from a run that was cut short: ours by its name, of no use without its hash. It may stand beside its final
  // name, where the power went before the folder was synced.
  const auto part = part_of(job);
  if (auto removed = target_.fs->remove(part); !removed && removed.error().code != Code::not_found) return removed;
  if (target_.fs->stat(job.stored_at(index_))) {
    found_ = true;
    return {};
  }
  part_ = TRY(target_.fs->create(part, job.source.size));
  return {};
}

Result<void> TargetWriter::ensure_folder(const Path& folder) {
  if (folder.empty() || folders_.count(folder.string())) return {};
  TRY(ensure_folder(folder.parent_path()));
  if (auto made = target_.fs->make_folder(folder); !made && made.error().code != Code::exists) return made;
  TRY(target_.fs->sync_folder(folder.parent_path()));
  folders_.insert(folder.string());
  return {};
}

void TargetWriter::fail_file(Error error) {
  drop_part();
  if (ends_destination(error.code)) lost_ = error;
  failed_ = std::move(error);
}

void TargetWriter::drop_part() {
  if (!part_) return;
  part_.reset();
  (void)target_.fs->remove(part_of(*job_));  // if even that fails, the next run removes it
}

void TargetWriter::finish_file(const Digest& digest) {
  if (found_) {
    batch_.push_back({job_, digest, true});
    if (batch_.size() >= kGroupFiles) flush();
    return;
  }
  const bool grouped = group_sync_ && part_bytes_ <= kSmallFile;
  if (part_) {
    // Refused by filesystems without such times or owners; the catalogue keeps the card's own.
    (void)part_->set_mtime(job_->source.mtime);
    auto done = grouped ? Result<void>{} : part_->sync();
    if (done) done = part_->close();
    if (!done) fail_file(done.error());
  }
  if (failed_) {
    post_failure(*job_, *failed_);
    return;
  }
  part_.reset();
  unsynced_ = unsynced_ || grouped;
  batch_.push_back({job_, digest, false});
  batch_bytes_ += part_bytes_;
  if (!grouped || batch_.size() >= kGroupFiles || batch_bytes_ >= kGroupBytes) flush();
}

// Makes the small files durable together and hands all of the group to the reading back.
void TargetWriter::flush() {
  Batch batch = std::exchange(batch_, {});
  batch_bytes_ = 0;
  if (batch.empty() || stop_.stop_requested()) return;
  const bool small = std::exchange(unsynced_, false);
  syncing_all_ = small;
  const auto synced = small ? target_.fs->sync_all() : Result<void>{};
  progress_.waits[index_].sign_of_life();
  syncing_all_ = false;
  if (!synced) {
    // Which of them are lost is not said: all count as lost, and none may be tried again without its bytes.
    std::vector<StoredCopy> failed;
    for (const auto& written : batch) {
      if (!written.found) (void)target_.fs->remove(part_of(*written.job));
      failed.push_back({written.job->file, index_, tl::unexpected(synced.error())});
    }
    if (ends_destination(synced.error().code)) lost_ = synced.error();
    post(std::move(failed));
    return;
  }
  reading_back_is_waited_for_ = true;
  batches_.push(std::move(batch));
  reading_back_is_waited_for_ = false;
}

void TargetWriter::verify_loop() {
  while (auto batch = batches_.pop()) {
    if (stop_.stop_requested()) continue;
    progress_.read_back_waits[index_].begin();
    post(finish_batch(*batch));
    progress_.read_back_waits[index_].end();
  }
}

void TargetWriter::post(std::vector<StoredCopy> copies) {
  if (!copies.empty()) events_.push(std::move(copies));
}

void TargetWriter::post_failure(const CopyJob& job, Error error) {
  post({{job.file, index_, tl::unexpected(std::move(error))}});
}

// While blocks of the card pile up for this disk, reading back slows down: what the card must wait for can't be made up
// for later, and a disk is faster at either alone.
void TargetWriter::give_way() {
  progress_.waits[index_].sign_of_life();
  progress_.read_back_waits[index_].begin();  // anew
  if (reading_back_is_waited_for_) return;
  pieces_.wait_for_room(kPiledUp, std::chrono::steady_clock::now() + kGivenWay);
}

Result<StoredCopy::Proof> TargetWriter::read_back(const Written& written) {
  const auto where = written.found ? written.job->stored_at(index_) : part_of(*written.job);
  const auto reading = TRY(hash_file(*target_.fs, where, Cache::avoid, stop_, [this] { give_way(); }));
  progress_.verified[index_] += reading.bytes;
  if (reading.digest == written.digest) return StoredCopy::Proof{reading.stat, reading.evidence, reading.digest};
  if (written.found)
    return fail(Code::exists,
                shown(written.job->stored_at(index_).string()) + " is there already with other bytes; it is kept");
  (void)target_.fs->remove(where);
  return fail(Code::corrupt,
              shown(written.job->stored_at(index_).string()) + ": what was read back is not what the card held");
}

Result<void> TargetWriter::take_final_name(const Written& written) {
  if (written.found) return {};
  return target_.fs->rename_new(part_of(*written.job), written.job->stored_at(index_));
}

// That what has the final name is what was read back, and not what another program put there meanwhile.
Result<FileStat> TargetWriter::as_read_back(const Written& written, const FileStat& read) const {
  const auto& stored = written.job->stored_at(index_);
  auto now = TRY(target_.fs->stat(stored));
  const bool same_times =
      now.mtime == read.mtime && (!written.found || now.ctime == read.ctime);  // renaming moves ctime
  const bool same_file = !keeps_file_numbers_ || (now.inode == read.inode && same_times);
  if (now.size == read.size && same_file) return now;
  return fail(Code::corrupt, shown(stored.string()) + ": another program changed it while it was copied");
}

// Reads the group back, gives the equal ones their final names, and syncs each folder once.
std::vector<StoredCopy> TargetWriter::finish_batch(const Batch& batch) {
  std::vector<StoredCopy> copies;
  for (const auto& written : batch) copies.push_back({written.job->file, index_, StoredCopy::Proof{}});
  const auto read = for_each_index(batch.size(), [&](std::size_t i) -> Result<void> {
    auto& proof = copies[i].proof;
    proof = read_back(batch[i]);
    progress_.waits[index_].sign_of_life();
    progress_.read_back_waits[index_].begin();  // anew
    if (!proof && proof.error().code == Code::cancelled) return tl::unexpected(proof.error());
    if (proof)
      if (auto named = take_final_name(batch[i]); !named) proof = tl::unexpected(named.error());
    return {};
  });
  if (!read) return {};
  std::map<std::string, Result<void>> folders;
  for (std::size_t i = 0; i < batch.size(); ++i)
    if (copies[i].proof) folders.emplace(batch[i].job->stored_at(index_).parent_path().string(), Result<void>{});
  for (auto& [folder, synced] : folders) synced = target_.fs->sync_folder(folder);
  for (std::size_t i = 0; i < batch.size(); ++i) {
    auto& proof = copies[i].proof;
    if (!proof) continue;
    const auto& stored = batch[i].job->stored_at(index_);
    const auto& synced = folders.at(stored.parent_path().string());
    auto stat = synced ? as_read_back(batch[i], proof->stat) : tl::unexpected(synced.error());
    if (stat)
      proof->stat = *stat;
    else
      proof = tl::unexpected(std::move(stat.error()));
  }
  return copies;
}

}  // namespace everytake::offload
