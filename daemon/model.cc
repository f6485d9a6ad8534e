#include "model.h"

#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <cmath>

namespace everytake {

const char* to_string(Kind kind) {
  switch (kind) {
    case Kind::performance:
      return "performance";
    case Kind::b_roll:
      return "b-roll";
    case Kind::slow_mo:
      return "slow-mo";
  }
  return "";
}

std::optional<Kind> parse_kind(std::string_view text) {
  for (const Kind kind : kKinds)
    if (text == to_string(kind)) return kind;
  return std::nullopt;
}

const char* to_string(By by) {
  switch (by) {
    case By::hand:
      return "hand";
    case By::setup:
      return "setup";
    case By::rule:
      return "rule";
  }
  return "";
}

std::vector<Path> videos_of(const ClipFiles& files) {
  std::vector<Path> videos;
  for (const auto& part : files.parts)
    if (part.role == FileRole::video) videos.push_back(part.path);
  return videos;
}

bool is_silent(const SoundLevels& levels) {
  constexpr double kSilence = -70;  // dB beside full scale; the noise of a camera's own microphone lies near -60
  return levels.samples > 0 && levels.peak_db < kSilence;
}

bool has_sound(const ClipFacts& facts) {
  return facts.audio == true && !(facts.levels && is_silent(*facts.levels));
}

Placement at_candidate(Placement placement, std::size_t candidate) {
  const auto& chosen = placement.candidates.at(candidate);
  const auto moved = chosen.start - placement.start;
  placement.start = chosen.start;
  placement.confidence = chosen.confidence;
  for (auto& span : placement.spans) span = {std::max(span.start + moved, Micros::zero()), span.end + moved};
  return placement;
}

const char* to_string(Placement::State state) {
  switch (state) {
    case Placement::State::pending:
      return "pending";
    case Placement::State::placed:
      return "placed";
    case Placement::State::ambiguous:
      return "ambiguous";
    case Placement::State::none:
      return "none";
    case Placement::State::no_audio:
      return "no_audio";
  }
  return "";
}

const char* to_string(CopyState state) {
  switch (state) {
    case CopyState::planned:
      return "planned";
    case CopyState::copied:
      return "copied";
    case CopyState::verified:
      return "verified";
    case CopyState::failed:
      return "failed";
  }
  return "";
}

namespace {

// FNV-1a of 32 bits (draft-eastlake-fnv, sections 2 and 5).
std::uint32_t fnv1a(std::string_view bytes) {
  std::uint32_t hash = 0x811c9dc5;
  for (const char c : bytes) hash = (hash ^ static_cast<unsigned char>(c)) * 0x01000193;
  return hash;
}

}  // namespace

std::string Plan::slug() const {
  std::string slug;
  for (const char c : title) {
    const auto byte = static_cast<unsigned char>(c);
    if (std::isalnum(byte) || byte >= 0x80)
      slug += static_cast<char>(std::tolower(byte));
    else if (!slug.empty() && slug.back() != '-')
      slug += '-';
  }
  while (!slug.empty() && slug.back() == '-') slug.pop_back();
  return slug.empty() ? fmt::format("shoot-{:08x}", fnv1a(title)) : slug;
}

std::optional<Rational> slow_factor(const ClipFacts& facts) {
  if (!facts.capture_rate || !facts.frame_rate) return std::nullopt;
  return *facts.capture_rate / *facts.frame_rate;
}

namespace {

bool is_by_sound(const Placement& placement) {
  const bool is_found = placement.state == Placement::State::placed || placement.state == Placement::State::ambiguous;
  return is_found && (placement.by != By::hand || !placement.candidates.empty());
}

}  // namespace

std::optional<double> stored_slow(const Clip& clip) {
  if (is_by_sound(clip.placement) || has_sound(clip.facts)) return 1;
  const auto factor = slow_factor(clip.facts);
  return factor ? std::optional(factor->value()) : std::nullopt;
}

double pace(const Clip& clip) {
  const auto& placement = clip.placement;
  return placement.speed * (1 + placement.drift_ppm * 1e-6) / stored_slow(clip).value_or(1);
}

Micros song_time_at(const Clip& clip, Micros clip_time) {
  return clip.placement.start + from_seconds(seconds(clip_time) * pace(clip));
}

Micros clip_time_at(const Clip& clip, Micros song_time) {
  return from_seconds(seconds(song_time - clip.placement.start) / pace(clip));
}

void lay_out_in_song(Clip& clip, std::optional<Micros> length) {
  auto& placement = clip.placement;
  if (placement.state != Placement::State::placed || is_by_sound(placement)) return;
  placement.spans.clear();
  if (!clip.facts.duration) return;
  const auto end = song_time_at(clip, *clip.facts.duration);
  const Span held{std::max(placement.start, Micros::zero()), length ? std::min(end, *length) : end};
  if (held.start < held.end) placement.spans = {held};
}

std::optional<Micros> on_screen(const Clip& clip, Rational edit_rate) {
  const auto& duration = clip.facts.duration;
  const auto& rate = clip.facts.frame_rate;
  if (!duration || clip.judgement.kind != Kind::slow_mo) return duration;
  if (!rate) return std::nullopt;
  if (!(edit_rate < *rate)) return duration;
  return Micros(std::llround(static_cast<double>(duration->count()) * (*rate / edit_rate).value()));
}

Micros covered(std::vector<Span> spans, Span within) {
  std::sort(spans.begin(), spans.end(), [](const Span& a, const Span& b) { return a.start < b.start; });
  Micros total{}, reached = within.start;
  for (const auto& span : spans) {
    const auto start = std::max(span.start, reached);
    const auto end = std::min(span.end, within.end);
    if (end <= start) continue;
    total += end - start;
    reached = end;
  }
  return total;
}

bool holds(const Placement& placement, const Section& section) {
  constexpr Micros kLeast = std::chrono::seconds(1);
  return placement.state == Placement::State::placed && covered(placement.spans, section.span) >= kLeast;
}

}  // namespace everytake
