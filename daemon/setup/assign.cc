#include "setup/assign.h"

#include <fmt/format.h>

#include <algorithm>
#include <map>

#include "base/text.h"

namespace everytake::setup {
namespace {

using namespace std::chrono_literals;

// "14:10", and the day too where it is not that of `beside`.
std::string time_of(Instant at, Instant beside) {
  constexpr std::string_view kDay = "2026-11-25 ", kMinute = "2026-11-25 14:32";
  const auto text = local_time(at).substr(0, kMinute.size());
  return text.substr(0, kDay.size()) == local_time(beside).substr(0, kDay.size()) ? text.substr(kDay.size()) : text;
}

bool is_known(std::span<const CameraClock> clocks, const std::string& camera) {
  return std::ranges::find(clocks, camera, &CameraClock::camera) != clocks.end();
}

std::string because_of(std::span<const Setup> setups, const Setup& chosen, const Recorded& when) {
  std::string others;
  for (const auto& each : setups)
    if (each.id != chosen.id && chosen.at < each.at && each.at < when.end)
      others += fmt::format("; {} at {}", each.is_end() ? "that ended" : "another began", time_of(each.at, when.start));
  return fmt::format("setup of {}{}{}", time_of(chosen.at, when.start),
                     when.start < chosen.at ? ", said while it was recorded" : "", others);
}

}  // namespace

const Setup* setup_at(std::span<const Setup> setups, Instant moment) {
  const auto after = std::ranges::upper_bound(setups, moment, {}, &Setup::at);
  if (after == setups.begin() || std::prev(after)->is_end()) return nullptr;
  return &*std::prev(after);
}

std::optional<Recorded> recorded(const Clip& clip, std::span<const CameraClock> clocks) {
  if (!clip.facts.recorded_at) return std::nullopt;
  auto start = *clip.facts.recorded_at;
  const auto clock = std::ranges::find(clocks, clip.facts.camera.value_or(""), &CameraClock::camera);
  if (clip.facts.camera && clock != clocks.end()) start -= clock->ahead;
  const auto length = std::chrono::duration<double>(clip.facts.duration.value_or(0us));
  const auto slow = stored_slow(clip);
  return Recorded{start, start + std::chrono::round<Micros>(length / slow.value_or(1))};
}

std::vector<Assigned> assign(std::span<const Setup> setups, std::span<const CameraClock> clocks,
                             std::span<const Clip> clips) {
  std::vector<Assigned> assigned;
  for (const auto& clip : clips) {
    const auto when = recorded(clip, clocks);
    if (!when) continue;
    if (const auto* chosen = setup_at(setups, when->middle()))
      assigned.push_back({clip.id, chosen->id, because_of(setups, *chosen, *when)});
  }
  return assigned;
}

std::vector<ClockDoubt> doubtful_clocks(std::span<const Setup> setups, std::span<const CameraClock> clocks,
                                        std::span<const Clip> clips, Instant until) {
  std::map<std::string, std::vector<Instant>> middles;
  for (const auto& clip : clips)
    if (clip.facts.camera && !is_known(clocks, *clip.facts.camera))
      if (const auto when = recorded(clip, clocks)) middles[*clip.facts.camera].push_back(when->middle());
  std::vector<ClockDoubt> doubts;
  for (const auto& [camera, moments] : middles) {
    const auto outside = [&, &all = moments](Micros ahead) {
      return static_cast<std::size_t>(
          std::ranges::count_if(all, [&](Instant at) { return at - ahead >= until || !setup_at(setups, at - ahead); }));
    };
    const auto as_it_is = outside(0us);
    if (as_it_is < moments.size()) continue;
    std::vector<Micros> fitting;
    for (int hours = -12; hours <= 12; ++hours)
      if (outside(std::chrono::hours(hours)) == 0) fitting.push_back(std::chrono::hours(hours));
    if (fitting.size() == 1) doubts.push_back({camera, fitting.front(), as_it_is});
  }
  return doubts;
}

std::string ahead_text(Micros ahead) {
  const auto size = std::chrono::abs(ahead);
  const auto whole = std::chrono::floor<std::chrono::seconds>(size);
  auto text = fmt::format("{}{}:{:02}:{:02}", ahead < 0us ? "-" : "", whole.count() / 3600, whole.count() / 60 % 60,
                          whole.count() % 60);
  if (const auto rest = (size - whole).count(); rest > 0) text += fmt::format(".{:01}", rest / 100'000);
  return text;
}

std::optional<Micros> parse_ahead(std::string_view text) {
  const bool behind = text.starts_with('-');
  if (behind || text.starts_with('+')) text.remove_prefix(1);
  if (std::ranges::count(text, ':') != 2) return std::nullopt;  // "1:02" could be meant as hours, or as minutes
  const auto size = parse_song_time(text);
  if (!size || *size > 24h) return std::nullopt;
  return behind ? -*size : *size;
}

}  // namespace everytake::setup
