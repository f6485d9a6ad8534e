#include "copy_progress.h"

#include <fmt/format.h>

#include <algorithm>

#include "base/text.h"

namespace everytake {
namespace {

std::string time_left(const CopyGlance& glance) {
  Micros longest{};
  for (const auto& target : glance.targets) {
    if (target.total == 0) continue;
    if (target.verified == 0) return "";
    const auto left = static_cast<double>(target.total - std::min(target.total, target.verified));
    longest = std::max(longest, from_seconds(seconds(glance.elapsed) * left / static_cast<double>(target.verified)));
  }
  return longest > Micros::zero() ? ", " + length_text(longest) + " left" : "";
}

int percent(std::uint64_t part, std::uint64_t whole) {
  return whole == 0 ? 100 : static_cast<int>(100.0 * static_cast<double>(part) / static_cast<double>(whole));
}

}  // namespace

std::string progress_text(const CopyGlance& glance) {
  const auto rate =
      static_cast<std::uint64_t>(static_cast<double>(glance.read) / std::max(seconds(glance.elapsed), 0.001));
  std::string text = fmt::format("{}: {} of {} read, {}/s{}", glance.roll, bytes_text(glance.read),
                                 bytes_text(glance.to_read), bytes_text(rate), time_left(glance));
  for (std::size_t i = 0; i < glance.targets.size(); ++i) {
    const auto& target = glance.targets[i];
    text +=
        fmt::format("{}{} {} %", i == 0 ? "; verified: " : ", ", target.name, percent(target.verified, target.total));
  }
  return text;
}

}  // namespace everytake
