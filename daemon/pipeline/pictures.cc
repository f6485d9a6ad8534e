// Pipeline::pictures: what each clip looks like.
#include <algorithm>
#include <thread>

#include "base/parallel.h"
#include "base/sync.h"
#include "os/background_priority.h"
#include "pipeline/picture_store.h"
#include "pipeline/pipeline.h"

namespace everytake::pipeline {
namespace {

constexpr unsigned kMostAtOnce = 4;  // each holds the frames of a decoder: some 100 MB for 4K

// The clips, taken by several threads.
class Pictures {
 public:
  Pictures(catalogue::Catalogue& catalogue, const examiner::Examiner& examiner, std::vector<RollsAt> rolls, Fs& shoot,
           std::vector<catalogue::PendingClip> clips, std::stop_token stop)
      : catalogue_(catalogue),
        examiner_(examiner),
        rolls_(std::move(rolls)),
        shoot_(shoot),
        clips_(std::move(clips)),
        stop_(std::move(stop)) {}

  Result<std::size_t> run() {
    const auto threads =
        std::min<std::size_t>({clips_.size(), kMostAtOnce, std::max(1U, std::thread::hardware_concurrency())});
    for_each_on_threads(threads, clips_.size(), [this](std::size_t i) { work(clips_[i]); });
    MutexLock lock(mu_);
    if (error_) return tl::unexpected(*error_);
    return made_;
  }

 private:
  void work(const catalogue::PendingClip& clip) {
    if (stop_.stop_requested()) return;
    enter_background_priority();
    const auto done = picture(clip);
    MutexLock lock(mu_);
    if (!done && !error_) error_ = done.error();
    if (done) made_ += *done;
  }

  // Whether it was looked at. A clip whose disk went away, or that a stop came between, is taken another time.
  Result<bool> picture(const catalogue::PendingClip& pending) {
    const auto videos = videos_of(pending.files);
    const auto home = holder_of(rolls_, pending.roll, videos);
    if (!home) return false;
    const auto clip = TRY(catalogue_.clip(pending.id));
    const auto strip = examiner_.strip(*home->fs, home->folder, videos, clip.facts, stop_);
    if (!strip) return false;
    if (const auto path = picture_path(clip); path && !strip->jpeg.empty()) {
      const MutexLock one_at_a_time(keeping_);  // clips of one name and the same bytes share a picture
      if (const auto kept = keep_picture(shoot_, *path, strip->jpeg); !kept)
        return tl::unexpected(within("keeping pictures", kept.error()));
    }
    TRY(catalogue_.record_frames(pending.id, strip->seen));
    return true;
  }

  catalogue::Catalogue& catalogue_;
  const examiner::Examiner& examiner_;
  const std::vector<RollsAt> rolls_;
  Fs& shoot_;
  const std::vector<catalogue::PendingClip> clips_;
  const std::stop_token stop_;
  Mutex keeping_, mu_;
  std::size_t made_ GUARDED_BY(mu_) = 0;
  std::optional<Error> error_ GUARDED_BY(mu_);
};

}  // namespace

Result<std::size_t> Pipeline::pictures(std::span<OpenDestination> destinations, Fs& shoot, std::stop_token stop) {
  auto clips = TRY(catalogue_.clips_to_picture());
  if (clips.empty()) return std::size_t{0};
  return Pictures(catalogue_, examiner_, TRY(rolls_here(destinations)), shoot, std::move(clips), std::move(stop)).run();
}

}  // namespace everytake::pipeline
