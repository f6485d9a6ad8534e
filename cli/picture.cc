#include "cli/picture.h"

#include <fmt/format.h>

#include "base/posix_fs.h"
#include "base/text.h"
#include "destinations.h"
#include "picture_store.h"

namespace everytake::cli {
namespace {

Result<std::vector<Path>> videos_in(ClipId id, const Shoot& shoot) {
  const auto catalogue = TRY(look_into_catalogue(shoot));
  const auto clips = TRY(catalogue->clips_to_study(std::span(&id, 1)));
  return clips.empty() ? std::vector<Path>{} : videos_of(clips.front().files);
}

}  // namespace

Result<std::string> picture_of(const Clip& clip, const Shoot& shoot, const Examiner& examiner, std::stop_token stop) {
  if (const auto path = picture_path(clip))
    if (const auto folder = PosixFs::open_at(shoot.folder))
      if (auto kept = kept_picture(**folder, *path); kept && *kept) return std::move(**kept);
  const auto name = shown(clip.roll + "/" + clip.name);
  const auto roll = Path(shoot.plan.slug()) / clip.roll;
  const auto videos = TRY(videos_in(clip.id, shoot));
  Error trouble{Code::not_found, name + ": no verified copy is in reach: plug in a disk that has it", 0};
  for (const auto& destination : open_destinations(shoot.plan.destinations)) {
    const auto* fs = home_of(std::span(&destination, 1), roll, videos);
    if (!fs) continue;
    auto strip = examiner.strip(*fs, roll, videos, clip.facts, stop);
    if (strip && !strip->jpeg.empty()) return std::move(strip->jpeg);
    if (strip) return fail(Code::invalid, name + ": no frame of it can be decoded, so there is no picture");
    trouble = within(name, strip.error());
    if (trouble.code == Code::cancelled) break;
  }
  return tl::unexpected(std::move(trouble));
}

}  // namespace everytake::cli
