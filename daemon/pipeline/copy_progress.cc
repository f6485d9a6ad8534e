#include "pipeline/copy_progress.h"

#include <fmt/format.h>

#include <algorithm>

#include "base/text.h"

namespace everytake::pipeline {
namespace {

constexpr Micros kSilent = std::chrono::seconds(10);

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
  return static_cast<int>(100.0 * static_cast<double>(part) / static_cast<double>(whole));
}

}  // namespace

CopyGlance glance_at(const IngestWatcher::Start& start) {
  CopyGlance glance{.roll = start.roll, .read = 0, .to_read = start.bytes, .targets = {}, .elapsed = {}};
  for (std::size_t i = 0; i < start.targets.size(); ++i)
    glance.targets.push_back({shown(start.targets[i]), 0, start.target_bytes[i]});
  return glance;
}

void look_again(CopyGlance& glance, const offload::CopyProgress& progress, Micros elapsed) {
  glance.read = progress.read;
  glance.elapsed = elapsed;
  for (std::size_t i = 0; i < glance.targets.size(); ++i) {
    glance.targets[i].verified = progress.verified[i];
    const auto silent = std::max(progress.waits[i].so_far(), progress.read_back_waits[i].so_far());
    glance.targets[i].silent = std::chrono::duration_cast<Micros>(silent);
  }
}

std::string progress_text(const CopyGlance& glance) {
  const auto rate =
      static_cast<std::uint64_t>(static_cast<double>(glance.read) / std::max(seconds(glance.elapsed), 0.001));
  std::string text = fmt::format("{}: {} of {} read, {}/s{}", glance.roll, bytes_text(glance.read),
                                 bytes_text(glance.to_read), bytes_text(rate), time_left(glance));
  const char* before = "; verified: ";
  for (const auto& target : glance.targets) {
    if (target.total == 0) continue;
    text += fmt::format("{}{} {} %", before, target.name, percent(target.verified, target.total));
    before = ", ";
  }
  for (const auto& target : glance.targets)
    if (target.silent >= kSilent)
      text += fmt::format("; {} has not answered for {:.0f} s", target.name, seconds(target.silent));
  return text;
}

}  // namespace everytake::pipeline
