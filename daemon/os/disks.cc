#include "os/disks.h"

#include <algorithm>

namespace everytake {

bool apart(const Disks& a, const Disks& b) {
  if (!a.known || !b.known || a.names.empty() || b.names.empty()) return false;
  return std::ranges::none_of(a.names, [&](const auto& name) { return b.names.contains(name); });
}

std::string disks_text(const Disks& disks) {
  std::string text;
  for (const auto& name : disks.names) text += (text.empty() ? "" : " and ") + name;
  return text.empty() ? "disks that can't be told" : text;
}

}  // namespace everytake
