#include "cli/picture.h"

#include <fmt/format.h>

#include <algorithm>

#include "base/posix_fs.h"
#include "base/text.h"
#include "destinations.h"
#include "examiner.h"
#include "picture_store.h"

namespace everytake::cli {
namespace {

Result<void> fill(Fs& folder, const Path& name, const std::string& bytes) {
  const auto file = TRY(folder.create(name, bytes.size()));
  TRY(file->append(std::as_bytes(std::span(bytes))));
  TRY(file->sync());
  return file->close();
}

Result<std::vector<Path>> videos_of(ClipId id, const Shoot& shoot) {
  const auto catalogue = TRY(open_catalogue(shoot));
  std::vector<Path> videos;
  for (const auto& clip : TRY(catalogue->clips_to_study(std::span(&id, 1))))
    for (const auto& part : clip.files.parts)
      if (part.role == FileRole::video) videos.push_back(part.path);
  return videos;
}

}  // namespace

Result<std::string> picture_of(const Clip& clip, const Shoot& shoot, std::stop_token stop) {
  if (const auto path = picture_path(clip))
    if (const auto folder = PosixFs::open_at(shoot.folder))
      if (auto kept = kept_picture(**folder, *path); kept && *kept) return std::move(**kept);
  const auto name = shown(clip.roll + "/" + clip.name);
  const auto roll = Path(shoot.plan.slug()) / clip.roll;
  const auto videos = TRY(videos_of(clip.id, shoot));
  Error trouble{Code::not_found, name + ": no verified copy is in reach: plug in a disk that has it", 0};
  for (const auto& destination : open_destinations(shoot.plan.destinations)) {
    const auto& fs = destination.fs;
    if (!fs || !std::all_of(videos.begin(), videos.end(), [&](const Path& video) { return fs->stat(roll / video); }))
      continue;
    auto strip = Examiner().strip(*fs, roll, videos, clip.facts, stop);
    if (strip && !strip->jpeg.empty()) return std::move(strip->jpeg);
    if (strip) return fail(Code::corrupt, name + ": no frame of it can be decoded, so there is no picture");
    trouble = within(name, strip.error());
    if (trouble.code == Code::cancelled) break;
  }
  return tl::unexpected(std::move(trouble));
}

Result<void> check_new(const Path& file) {
  const auto folder = PosixFs::open_at(file.parent_path());
  if (!folder) return tl::unexpected(within(shown(file.string()), folder.error()));
  if (!(*folder)->stat(file.filename())) return {};
  return fail(Code::exists, shown(file.string()) + " is there already and stays as it is: name another file");
}

Result<void> write_new(const Path& file, const std::string& bytes) {
  TRY(check_new(file));
  const auto folder = TRY(PosixFs::open_at(file.parent_path()));
  const auto done = fill(*folder, file.filename(), bytes);
  if (done) return {};
  if (done.error().code != Code::exists) (void)folder->remove(file.filename());
  return tl::unexpected(within(shown(file.string()), done.error()));
}

}  // namespace everytake::cli
