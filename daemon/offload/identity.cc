#include "offload/identity.h"

#include <fmt/format.h>

#include "offload/hash.h"

namespace everytake::offload {

std::string card_key(const Volume& volume) {
  const auto& filesystem = volume.uuid.empty() ? volume.source : volume.uuid;
  return filesystem + ":" + volume.within.string();
}

std::string card_label(const Volume& volume, const Path& root) {
  const bool whole = volume.within.empty() || volume.within == "/";
  if (whole && !volume.label.empty()) return volume.label;
  const auto name = root.filename();
  return name == "." || name == "/" || name.empty() ? root.parent_path().filename().string() : name.string();
}

std::string listing_identity(const Listing& listing) {
  Hasher hasher;
  for (const auto& file : listing.files) {
    const auto line = fmt::format("{}\n{}\n{}\n", file.path.string(), file.size, file.mtime.time_since_epoch().count());
    hasher.update(std::as_bytes(std::span(line)));
  }
  return hasher.digest().hex();
}

bool same_coarse_time(FileTime a, FileTime b) {
  using namespace std::chrono_literals;
  const auto apart = std::chrono::abs(a - b) % 15min;
  return std::chrono::abs(a - b) <= 14h + 2s && (apart <= 2s || apart >= 15min - 2s);
}

bool may_be_same(const CardFile& a, const CardFile& b) {
  return a.path == b.path && a.size == b.size && same_coarse_time(a.mtime, b.mtime);
}

}  // namespace everytake::offload
