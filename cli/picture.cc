#include "cli/picture.h"

#include <fmt/format.h>

#include "base/posix_fs.h"
#include "base/text.h"

namespace everytake::cli {
namespace {

Result<void> fill(Fs& folder, const Path& name, const std::string& bytes) {
  const auto file = TRY(folder.create(name, bytes.size()));
  TRY(file->append(std::as_bytes(std::span(bytes))));
  TRY(file->sync());
  return file->close();
}

}  // namespace

Result<std::string> picture_of(const Clip& clip, std::stop_token stop) {
  const auto name = shown(clip.roll + "/" + clip.name);
  Error trouble{Code::not_found, name + ": no verified copy is in reach: plug in a disk that has it", 0};
  for (const auto& copy : clip.copies) {
    if (copy.state != CopyState::verified) continue;
    const auto folder = PosixFs::open_at(copy.path.parent_path());
    if (!folder || !(*folder)->stat(copy.path.filename())) continue;
    auto strip = picture_strip(**folder, copy.path.filename(), clip.facts, stop);
    if (strip && *strip) return std::move(**strip);
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
