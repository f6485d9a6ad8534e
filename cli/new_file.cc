#include "cli/new_file.h"

#include "base/text.h"
#include "os/posix_fs.h"

namespace everytake::cli {

Result<void> check_new(const Path& file) {
  const auto folder = PosixFs::open_at(file.parent_path());
  if (!folder) return tl::unexpected(within(shown(file.string()), folder.error()));
  if (!(*folder)->stat(file.filename())) return {};
  return fail(Code::exists, shown(file.string()) + " is there already and stays as it is: name another file");
}

Result<void> write_new(Fs& folder, const Path& name, const std::string& bytes) {
  const auto file = TRY(folder.create(name, bytes.size()));
  const auto written = [&]() -> Result<void> {
    TRY(file->append(std::as_bytes(std::span(bytes))));
    TRY(file->sync());
    TRY(file->close());
    return folder.sync_folder({});
  }();
  if (!written) (void)folder.remove(name);
  return written;
}

Result<void> write_new(const Path& file, const std::string& bytes) {
  TRY(check_new(file));
  const auto folder = TRY(PosixFs::open_at(file.parent_path()));
  auto written = write_new(*folder, file.filename(), bytes);
  if (!written) return tl::unexpected(within(shown(file.string()), std::move(written.error())));
  return {};
}

}  // namespace everytake::cli
