#include "pipeline/marks.h"

#include <fmt/format.h>

#include "base/text.h"
#include "offload/note.h"
#include "os/random.h"
#include "os/small_file.h"

namespace everytake::pipeline {
namespace {

constexpr std::uint64_t kMostBytes = 4096;  // far more than was ever written into one
constexpr std::string_view kMarkWords = "everytake destination ";
constexpr std::string_view kOwnerWords = "everytake shoot ";
constexpr const char* kToPeople =
    "\nBy this file everytake knows the folder again. Leave it here, and take it along when you move the folder.\n";

Result<std::optional<std::string>> read_note(const ReadFs& fs, const Path& path) {
  auto text = read_beginning(fs, path, kMostBytes);
  if (!text && text.error().code == Code::not_found) return std::nullopt;
  return TRY(std::move(text));
}

// What stands between `words` and the end of the first line; nullopt where the note does not begin so.
std::optional<std::string> after(std::string_view words, const std::string& note) {
  if (!note.starts_with(words)) return std::nullopt;
  return note.substr(words.size(), note.find('\n') - words.size());
}

tl::unexpected<Error> no_note_of_ours(const Path& path) {
  return fail(Code::invalid,
              fmt::format("{} is not as everytake wrote it: bring it back from a backup, or move it away "
                          "if this is a new disk",
                          shown(path.string())));
}

// Under its name only when it is whole, and never over another.
Result<void> write_new(Fs& fs, const Path& path, const std::string& text, const std::string& token) {
  const Path part = fmt::format("{}-{}.everytake-part", path.string(), token);
  if (auto gone = fs.remove(part); !gone && gone.error().code != Code::not_found) return gone;
  const auto file = TRY(fs.create(part, text.size()));
  auto written = file->append(std::as_bytes(std::span(text)));
  if (written) written = file->sync();
  if (written) written = file->close();
  if (written) written = fs.rename_new(part, path);
  if (!written) (void)fs.remove(part);
  TRY(written);
  return fs.sync_folder(path.parent_path());
}

std::string text_of(const Owner& owner) {
  return fmt::format("{}{} {}{}", kOwnerWords, owner.catalogue, owner.stamp, kToPeople);
}

}  // namespace

Result<std::optional<std::string>> read_mark(const ReadFs& destination) {
  const auto note = TRY(read_note(destination, kMarkFile));
  if (!note) return std::nullopt;
  auto id = after(kMarkWords, *note);
  if (!id || !is_id(*id)) return no_note_of_ours(kMarkFile);
  return id;
}

Result<std::string> make_mark(Fs& destination, const std::string& token) {
  if (auto mark = TRY(read_mark(destination))) return *mark;
  auto written = write_new(destination, kMarkFile, fmt::format("{}{}{}", kMarkWords, random_id(), kToPeople), token);
  if (!written && written.error().code != Code::exists) return tl::unexpected(std::move(written.error()));
  auto mark = TRY(read_mark(destination));  // perhaps another program's
  if (!mark) return fail(Code::io, fmt::format("{} was written and is not there", kMarkFile));
  return *mark;
}

Result<std::optional<Owner>> read_owner(const ReadFs& destination, const Path& home) {
  const auto path = home / kOwnerFile;
  const auto note = TRY(read_note(destination, path));
  if (!note) return std::nullopt;
  const auto ids = after(kOwnerWords, *note);
  constexpr std::size_t kDigits = 32;
  if (!ids || ids->size() != 2 * kDigits + 1) return no_note_of_ours(path);
  Owner owner{ids->substr(0, kDigits), ids->substr(kDigits + 1)};
  if (!is_id(owner.catalogue) || !is_id(owner.stamp)) return no_note_of_ours(path);
  return owner;
}

Result<void> claim_home(Fs& destination, const Path& home, const Owner& owner, const std::string& token) {
  if (auto made = destination.make_folder(home); !made && made.error().code != Code::exists) return made;
  TRY(destination.sync_folder(home.parent_path()));
  return write_new(destination, home / kOwnerFile, text_of(owner), token);
}

Result<void> renew_claim(Fs& destination, const Path& home, const Owner& owner) {
  return offload::write_note(destination, home / kOwnerFile, text_of(owner));
}

}  // namespace everytake::pipeline
