#include "catalogue/columns.h"

#include <charconv>

#include "base/json.h"

namespace everytake {
namespace {

// Only our own writing is ever read here; what is no array of pairs counts as empty.
Json pairs_of(const std::string& text) {
  auto json = Json::parse(text, nullptr, false);
  return json.is_array() ? json : Json::array();
}

template <class Enum>
Enum find(const std::string& text, std::initializer_list<Enum> all, Enum otherwise) {
  for (const auto value : all)
    if (text == to_string(value)) return value;
  return otherwise;
}

}  // namespace

Blob blob_of_hex(std::string_view hex) {
  Blob blob;
  for (std::size_t i = 0; i + 1 < hex.size(); i += 2) {
    unsigned char byte = 0;
    std::from_chars(hex.data() + i, hex.data() + i + 2, byte, 16);
    blob.bytes += static_cast<char>(byte);
  }
  return blob;
}

const char* readback_text(Evidence evidence) {
  switch (evidence) {
    case Evidence::direct:
      return "direct";
    case Evidence::dropped:
      return "dropped";
    case Evidence::cached:
      return "cached";
  }
  return "cached";
}

std::optional<Evidence> readback_of(const std::string& text) {
  for (const auto evidence : {Evidence::direct, Evidence::dropped, Evidence::cached})
    if (text == readback_text(evidence)) return evidence;
  return std::nullopt;
}

CopyState copy_state_of(const std::string& text) {
  return find(text, {CopyState::planned, CopyState::copied, CopyState::verified, CopyState::failed}, CopyState::failed);
}

By by_of(const std::string& text) {
  return find(text, {By::hand, By::setup, By::rule}, By::rule);
}

Placement::State placement_state_of(const std::string& text) {
  using State = Placement::State;
  return find(text, {State::placed, State::ambiguous, State::none, State::no_audio}, State::pending);
}

std::string spans_text(const std::vector<Span>& spans) {
  auto json = Json::array();
  for (const auto& span : spans) json.push_back({span.start.count(), span.end.count()});
  return dump(json);
}

std::vector<Span> spans_of(const std::string& text) {
  std::vector<Span> spans;
  for (const auto& pair : pairs_of(text))
    if (pair.is_array() && pair.size() == 2)
      spans.push_back({Micros(pair[0].get<std::int64_t>()), Micros(pair[1].get<std::int64_t>())});
  return spans;
}

std::string candidates_text(const std::vector<Placement::Candidate>& candidates) {
  auto json = Json::array();
  for (const auto& candidate : candidates) json.push_back({candidate.start.count(), candidate.confidence});
  return dump(json);
}

std::vector<Placement::Candidate> candidates_of(const std::string& text) {
  std::vector<Placement::Candidate> candidates;
  for (const auto& pair : pairs_of(text))
    if (pair.is_array() && pair.size() == 2)
      candidates.push_back({Micros(pair[0].get<std::int64_t>()), pair[1].get<double>()});
  return candidates;
}

}  // namespace everytake
