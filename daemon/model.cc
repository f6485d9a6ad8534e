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
