#include "offload/manifest.h"

#include <fmt/format.h>

#include <algorithm>

#include "base/text.h"

namespace everytake::offload {
namespace {

Digest digest_of(std::string_view text) {
  Hasher hasher;
  hasher.update(std::as_bytes(std::span(text)));
  return hasher.digest();
}

}  // namespace

Result<void> write_note(Fs& fs, const Path& path, std::string_view text) {
  const Path part = path.string() + ".everytake-part";
  if (auto gone = fs.remove(part); !gone && gone.error().code != Code::not_found) return gone;
  const auto file = TRY(fs.create(part, text.size()));
  TRY(file->append(std::as_bytes(std::span(text))));
  TRY(file->sync());
  TRY(file->close());
  if (TRY(hash_file(fs, part, Cache::avoid, {})).digest != digest_of(text))
    return fail(Code::corrupt, shown(path.string()) + " was written, but other bytes were read back");
  TRY(fs.replace(part, path));
  return fs.sync_folder(path.parent_path());
}

bool stays_inside(std::string_view path) {
  if (path.empty() || path.find('\0') != std::string_view::npos) return false;
  for (std::size_t at = 0; at <= path.size();) {
    const auto end = std::min(path.find('/', at), path.size());
    const auto name = path.substr(at, end - at);
    if (name.empty() || name == "." || name == "..") return false;
    at = end + 1;
  }
  return true;
}

Result<std::vector<ManifestLine>> parse_xxh128_manifest(std::string_view text) {
  constexpr std::size_t kDigits = 32;
  std::vector<ManifestLine> lines;
  for (std::size_t at = 0, number = 1; at < text.size(); ++number) {
    const auto end = std::min(text.find('\n', at), text.size());
    const auto line = text.substr(at, end - at);
    at = end + 1;
    const auto digest = Digest::from_hex(line.substr(0, std::min(kDigits, line.size())));
    if (!digest || line.substr(kDigits, 2) != "  " || !stays_inside(line.substr(kDigits + 2)))
      return fail(Code::invalid, fmt::format("line {} is no digest and path", number));
    lines.push_back({std::string(line.substr(kDigits + 2)), *digest});
  }
  return lines;
}

bool needs_sha256(const Path& path) {
  return path.string().find_first_of("\n\r") != std::string::npos;
}

std::string xxh128_manifest(std::vector<ManifestLine> lines) {
  std::sort(lines.begin(), lines.end(), [](const auto& a, const auto& b) { return a.path.string() < b.path.string(); });
  std::string text;
  for (const auto& line : lines)
    if (!needs_sha256(line.path)) text += line.digest.hex() + "  " + line.path.string() + "\n";
  return text;
}

std::string sha256_line(const Path& path, const std::string& sha256_hex) {
  std::string name;
  for (const char c : path.string()) {
    if (c == '\n')
      name += "\\n";
    else if (c == '\r')
      name += "\\r";
    else if (c == '\\')
      name += "\\\\";
    else
      name += c;
  }
  return "\\" + sha256_hex + "  " + name + "\n";
}

Result<void> write_manifests(Fs& fs, const Path& folder, const std::string& roll,
                             const std::vector<ManifestLine>& lines, std::stop_token stop) {
  std::vector<std::string> odd;
  for (const auto& line : lines)
    if (needs_sha256(line.path))
      odd.push_back(sha256_line(line.path, TRY(sha256_file(fs, folder / roll / line.path, stop))));
  std::sort(odd.begin(), odd.end());
  std::string odd_text;
  for (const auto& line : odd) odd_text += line;
  if (!odd_text.empty()) TRY(write_note(fs, folder / (roll + ".sha256"), odd_text));
  return write_note(fs, folder / (roll + ".xxh128"), xxh128_manifest(lines));
}

}  // namespace everytake::offload
