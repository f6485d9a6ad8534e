#include "offload/identity.h"

#include <fmt/format.h>

#include "offload/hash.h"

namespace everytake {

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

bool may_be_same(const CardFile& a, const CardFile& b) {
  using namespace std::chrono_literals;
  return a.path == b.path && a.size == b.size && std::chrono::abs(a.mtime - b.mtime) <= 2s;
}

}  // namespace everytake
