#include "cli/picture.h"

#include <fmt/format.h>

#include "base/text.h"
#include "os/posix_fs.h"
#include "pipeline/match_destinations.h"
#include "pipeline/picture_store.h"

namespace everytake::cli {
namespace {

Result<std::vector<Path>> videos_in(ClipId id, const catalogue::Catalogue& catalogue) {
  const auto clips = TRY(catalogue.clips_to_study(std::span(&id, 1)));
  return clips.empty() ? std::vector<Path>{} : videos_of(clips.front().files);
}

}  // namespace

Result<std::string> picture_of(const Clip& clip, const pipeline::Shoot& shoot, const examiner::Examiner& examiner,
                               std::stop_token stop) {
  if (const auto path = pipeline::picture_path(clip))
    if (const auto folder = PosixFs::open_at(shoot.folder))
      if (auto kept = pipeline::kept_picture(**folder, *path); kept && *kept) return std::move(**kept);
  const auto name = shown(clip.roll + "/" + clip.name);
  const auto catalogue = TRY(look_into_catalogue(shoot));
  const auto videos = TRY(videos_in(clip.id, *catalogue));
  auto destinations = pipeline::open_destinations(shoot.plan.destinations);
  Error trouble{Code::not_found, name + ": no verified copy is in reach: plug in a disk that has it", 0};
  for (const auto& rolls : pipeline::rolls_at(
           pipeline::match_destinations(destinations, TRY(catalogue->destinations())), shoot.plan.slug())) {
    const auto home = pipeline::holder_of(std::span(&rolls, 1), clip.roll, videos);
    if (!home) continue;
    auto strip = examiner.strip(*home->fs, home->folder, videos, clip.facts, stop);
    if (strip && !strip->jpeg.empty()) return std::move(strip->jpeg);
    if (strip) return fail(Code::invalid, name + ": no frame of it can be decoded, so there is no picture");
    trouble = within(name, strip.error());
    if (trouble.code == Code::cancelled) break;
  }
  return tl::unexpected(std::move(trouble));
}

}  // namespace everytake::cli
