#include "pipeline/picture_store.h"

#include <algorithm>
#include <cctype>

#include "os/small_file.h"
#include "pipeline/notes.h"

namespace everytake::pipeline {
namespace {

constexpr const char* kFolder = "pictures";
constexpr std::size_t kLargest = 16 << 20;  // bytes; real ones are about 200 kB

}  // namespace

std::optional<Path> picture_path(const Clip& clip) {
  constexpr std::size_t kDigits = 16, kLongestName = 100;
  if (!clip.digest) return std::nullopt;
  std::string name = clip.roll + "-" + clip.name.substr(0, kLongestName);
  for (auto& c : name)
    if (!std::isalnum(static_cast<unsigned char>(c)) && c != '-' && c != '_') c = '_';
  return Path(kFolder) / (name + "-" + clip.digest->hex().substr(0, kDigits) + ".jpg");
}

Result<void> keep_picture(Fs& shoot, const Path& path, const std::string& jpeg) {
  return keep_note(shoot, path.parent_path(), path.filename(), jpeg);
}

Result<std::optional<std::string>> kept_picture(const ReadFs& shoot, const Path& path) {
  if (const auto there = shoot.stat(path); !there) {
    if (there.error().code == Code::not_found) return std::nullopt;
    return tl::unexpected(there.error());
  }
  auto jpeg = TRY(read_beginning(shoot, path, kLargest));
  if (jpeg.empty()) return std::nullopt;
  return jpeg;
}

}  // namespace everytake::pipeline
