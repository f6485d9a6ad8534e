#include "offload/copy.h"

#include <fmt/format.h>

#include <algorithm>
#include <deque>
#include <iterator>
#include <thread>

#include "base/text.h"
#include "offload/blocks.h"
#include "offload/target_writer.h"

namespace everytake::offload {
namespace {

using namespace std::chrono_literals;

constexpr std::size_t kBlocks = 16;  // 64 MiB in all: the most that may be read and not yet written everywhere
constexpr int kAttempts = 3;         // at reading one file
constexpr std::size_t kWaitingEvents = 256;
constexpr auto kGather = 100ms;  // of news, before it is recorded together

std::string name_of(const CopyJob& job) {
  return shown(job.source.path.string());
}

bool same_file(const FileStat& a, const FileStat& b) {
  return a.size == b.size && a.mtime == b.mtime && a.ctime == b.ctime && a.inode == b.inode;
}

// Reads the card, one file after the other, and feeds the writers.
class Reader {
 public:
  Reader(const ReadFs& card, std::span<const CopyJob> jobs, std::deque<TargetWriter>& writers, CopyOptions options,
         const Copying& copying)
      : card_(card),
        jobs_(jobs),
        writers_(writers),
        options_(options),
        progress_(copying.progress),
        events_(copying.events),
        stop_(copying.stop) {}

  // Fails only with what ends the card: `gone` or `cancelled`.
  Result<void> run() {
    std::vector<std::optional<Digests>> digests;
    for (const auto& job : jobs_) digests.push_back(TRY(file(job)));
    for (auto& writer : writers_) writer.finish();
    if (options_.read_twice)
      for (std::size_t i = 0; i < jobs_.size(); ++i)
        if (digests[i]) TRY(again(jobs_[i], *digests[i]));
    return {};
  }

 private:
  using Digests = SourceReading::Digests;
  // One file to its writers, tried anew when it can't be read, changes under the reading or gives bytes that are
  // doubtful. nullopt: told and given up.
  Result<std::optional<Digests>> file(const CopyJob& job) {
    Result<Digests> digests = fail(Code::io, "not read");
    bool doubtful = job.doubtful;
    int readings = 1;
    for (int attempt = 1; attempt <= kAttempts; ++attempt) {
      for (const auto target : job.targets) writers_[target].begin(job);
      digests = once(job);
      readings = digests && (doubtful || is_other(job, *digests)) ? 2 : 1;
      if (readings == 2) digests = confirmed(job, *digests);
      if (digests) break;
      for (const auto target : job.targets) writers_[target].abandon();
      if (ends_card(digests.error())) return tl::unexpected(digests.error());
      doubtful = doubtful || digests.error().code == Code::io || digests.error().code == Code::corrupt;
    }
    // Told before the writers can tell of their copies: a copy's row needs its file's digest.
    events_.push(SourceReading{job.file, job.source, digests, readings});
    if (!digests) return std::optional<Digests>();
    for (const auto target : job.targets) writers_[target].end(digests->whole);
    return std::optional(*digests);
  }

  static bool is_other(const CopyJob& job, const Digests& digests) {
    return job.expected && digests.whole != *job.expected;
  }

  // Every byte once, from before the first to after the last the same file.
  Result<Digests> once(const CopyJob& job) {
    const auto open = TRY(card_.open(job.source.path, Cache::avoid));
    const auto before = TRY(open->stat());
    if (before.size != job.source.size)
      return fail(Code::invalid, name_of(job) + " has another size than when the card was listed");
    Hasher hasher;
    Sampler sampler(before.size);
    std::uint64_t offset = 0;
    for (;;) {
      const auto block = TRY(take_block());
      auto count = open->read({block.get(), kBlockSize}, offset);
      if (!count) {
        count.error().what += fmt::format(" (at byte {})", offset);
        return tl::unexpected(std::move(count.error()));
      }
      if (*count == 0) break;
      hasher.update({block.get(), *count});
      sampler.update({block.get(), *count}, offset);
      for (const auto target : job.targets) writers_[target].block(block, *count);
      offset += *count;
      progress_.read += *count;
      if (*count < kBlockSize) break;
    }
    if (offset != before.size || !same_file(before, TRY(open->stat())))
      return fail(Code::invalid, name_of(job) + " changed while it was read");
    const Digests digests{hasher.digest(), sampler.digest()};
    if (is_other(job, digests) && job.other == CopyJob::Other::never)
      return fail(Code::corrupt, name_of(job) + ": its bytes are not those the card held");
    return digests;
  }

  Result<BlockPool::Block> take_block() {
    for (;;) {
      if (stop_.stop_requested()) return fail(Code::cancelled, "stopped");
      if (auto block = pool_.take(std::chrono::steady_clock::now() + kGather)) return block;
      for (auto& writer : writers_) writer.leave_behind_if_hung();  // one that holds them all
    }
  }

  // What is doubtful counts only when a second, cold reading agrees.
  Result<Digests> confirmed(const CopyJob& job, const Digests& first) {
    const auto second = TRY(hash_file(card_, job.source.path, Cache::avoid, stop_));
    if (second.digest == first.whole) return first;
    return fail(Code::corrupt, name_of(job) + ": two readings of the card gave different bytes; try another reader");
  }

  Result<void> again(const CopyJob& job, const Digests& first) {
    auto digests = confirmed(job, first);
    if (!digests && ends_card(digests.error())) return tl::unexpected(digests.error());
    events_.push(SourceReading{job.file, job.source, std::move(digests), 2});
    return {};
  }

  const ReadFs& card_;
  const std::span<const CopyJob> jobs_;
  std::deque<TargetWriter>& writers_;
  const CopyOptions options_;
  CopyProgress& progress_;
  BoundedQueue<CopyEvent>& events_;
  const std::stop_token stop_;
  BlockPool pool_{kBlocks};
};

Result<void> tell(CopyObserver& observer, std::deque<CopyEvent> events) {
  std::vector<SourceReading> readings;
  std::vector<StoredCopy> copies;
  for (auto& event : events)
    if (auto* reading = std::get_if<SourceReading>(&event))
      readings.push_back(std::move(*reading));
    else
      std::ranges::move(std::get<std::vector<StoredCopy>>(event), std::back_inserter(copies));
  return observer.record(readings, copies);
}

}  // namespace

const Path& CopyJob::stored_at(std::size_t target) const {
  const auto it = otherwise.find(target);
  return it == otherwise.end() ? stored : it->second;
}

Result<void> copy_files(const ReadFs& card, std::span<const CopyJob> jobs, std::span<const Target> targets,
                        CopyOptions options, CopyObserver& observer, std::stop_token stop) {
  CopyProgress progress(targets.size());
  BoundedQueue<CopyEvent> events(kWaitingEvents);
  std::stop_source inner;  // also stopped by us, when nothing more can be recorded
  const std::stop_callback forward(stop, [&] { inner.request_stop(); });

  Result<void> read;
  std::jthread work([&] {
    const Copying copying{progress, events, inner.get_token()};
    std::deque<TargetWriter> writers;
    Reader reader(card, jobs, writers, options, copying);
    for (std::size_t i = 0; i < targets.size(); ++i) writers.emplace_back(i, targets[i], copying);
    read = reader.run();
    writers.clear();  // waits until all that was given is settled
    events.close();
  });

  Result<void> recorded;
  std::deque<CopyEvent> gathered;
  auto next = std::chrono::steady_clock::now() + kGather;
  while (!events.ended() || !gathered.empty()) {
    std::ranges::move(events.pop_all(next), std::back_inserter(gathered));
    if (std::chrono::steady_clock::now() < next && !events.ended()) continue;
    if (!gathered.empty() && recorded) recorded = tell(observer, std::exchange(gathered, {}));
    gathered.clear();
    if (!recorded) inner.request_stop();
    observer.tick(progress);
    next = std::chrono::steady_clock::now() + kGather;
  }
  work.join();
  if (!recorded) return recorded;
  if (stop.stop_requested()) return fail(Code::cancelled, "stopped; the next run goes on from here");
  if (!read) return read;
  return {};
}

}  // namespace everytake::offload
