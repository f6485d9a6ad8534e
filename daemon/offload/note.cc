#include "offload/note.h"

#include "base/text.h"
#include "offload/hash.h"

namespace everytake::offload {
namespace {

Digest digest_of(std::string_view text) {
  Hasher hasher;
  hasher.update(std::as_bytes(std::span(text)));
  return hasher.digest();
}

Result<void> write_part(Fs& fs, const Path& part, std::string_view text) {
  const auto file = TRY(fs.create(part, text.size()));
  TRY(file->append(std::as_bytes(std::span(text))));
  TRY(file->sync());
  TRY(file->close());
  if (TRY(hash_file(fs, part, Cache::avoid, {})).digest != digest_of(text))
    return fail(Code::corrupt, shown(part.string()) + " was written, but other bytes were read back");
  return {};
}

}  // namespace

Result<void> write_note(Fs& fs, const Path& path, std::string_view text) {
  const Path part = path.string() + ".everytake-part";
  if (auto gone = fs.remove(part); !gone && gone.error().code != Code::not_found) return gone;
  if (auto written = write_part(fs, part, text); !written) {
    (void)fs.remove(part);  // it may have filled the disk
    return written;
  }
  TRY(fs.replace(part, path));
  return fs.sync_folder(path.parent_path());
}

}  // namespace everytake::offload
