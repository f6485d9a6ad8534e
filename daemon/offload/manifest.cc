#include "offload/manifest.h"

#include <fmt/format.h>

#include <algorithm>

#include "offload/note.h"

namespace everytake::offload {
namespace {

// Whether xxhsum's line format can't carry this name.
bool needs_sha256(const Path& path) {
  return path.string().find_first_of("\n\r") != std::string::npos;
}

// One line as `sha256sum -c --strict` reads it: LF, CR and backslash escaped, with a backslash before the line
// (GNU coreutils manual, "md5sum invocation").
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

}  // namespace

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

std::string xxh128_manifest(std::vector<ManifestLine> lines) {
  std::sort(lines.begin(), lines.end(), [](const auto& a, const auto& b) { return a.path.string() < b.path.string(); });
  std::string text;
  for (const auto& line : lines)
    if (!needs_sha256(line.path)) text += line.digest.hex() + "  " + line.path.string() + "\n";
  return text;
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
