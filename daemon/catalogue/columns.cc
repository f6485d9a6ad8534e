#include "catalogue/columns.h"

#include <initializer_list>

#include "base/json.h"

namespace everytake::catalogue {
namespace {

template <class E>
E parse(std::string_view text, std::initializer_list<E> all, E otherwise) {
  for (const E e : all)
    if (text == to_string(e)) return e;
  return otherwise;
}

Json array_of(const std::string& text) {
  auto json = Json::parse(text, nullptr, /*allow_exceptions=*/false);
  return json.is_array() ? json : Json::array();
}

bool is_pair(const Json& json) {
  return json.is_array() && json.size() == 2 && json[0].is_number() && json[1].is_number();
}

}  // namespace

const char* to_string(Field field) {
  switch (field) {
    case Field::kind:
      return "kind";
    case Field::member:
      return "member";
    case Field::section:
      return "section";
    case Field::look:
      return "look";
    case Field::angle:
      return "angle";
    case Field::note:
      return "note";
    case Field::rating:
      return "rating";
  }
  return "";
}

std::optional<Field> parse_field(std::string_view text) {
  for (const Field field :
       {Field::kind, Field::member, Field::section, Field::look, Field::angle, Field::note, Field::rating})
    if (text == to_string(field)) return field;
  return std::nullopt;
}

const char* to_string(Evidence evidence) {
  switch (evidence) {
    case Evidence::direct:
      return "direct";
    case Evidence::dropped:
      return "dropped";
    case Evidence::cached:
      return "cached";
  }
  return "";
}

const char* to_string(FileRole role) {
  switch (role) {
    case FileRole::video:
      return "video";
    case FileRole::audio:
      return "audio";
    case FileRole::sidecar:
      return "sidecar";
    case FileRole::proxy:
      return "proxy";
    case FileRole::thumbnail:
      return "thumbnail";
  }
  return "";
}

Evidence evidence_of(std::string_view text) {
  return parse(text, {Evidence::direct, Evidence::dropped}, Evidence::cached);
}

FileRole role_of(std::string_view text) {
  return parse(text, {FileRole::video, FileRole::audio, FileRole::sidecar, FileRole::proxy}, FileRole::thumbnail);
}

CopyState copy_state_of(std::string_view text) {
  return parse(text, {CopyState::planned, CopyState::copied, CopyState::verified}, CopyState::failed);
}

By by_of(std::string_view text) {
  return parse(text, {By::hand, By::setup}, By::rule);
}

ProblemCode problem_code_of(std::string_view text) {
  return parse_problem_code(text).value_or(ProblemCode::unknown);
}

Placement::State placement_state_of(std::string_view text) {
  using enum Placement::State;
  return parse(text, {placed, ambiguous, none, no_audio}, pending);
}

std::string spans_text(const std::vector<Span>& spans) {
  Json json = Json::array();
  for (const auto& span : spans) json.push_back({span.start.count(), span.end.count()});
  return dump(json);
}

std::vector<Span> spans_of(const std::string& text) {
  std::vector<Span> spans;
  for (const auto& pair : array_of(text))
    if (is_pair(pair)) spans.push_back({Micros(pair[0].get<std::int64_t>()), Micros(pair[1].get<std::int64_t>())});
  return spans;
}

std::string candidates_text(const std::vector<Placement::Candidate>& candidates) {
  Json json = Json::array();
  for (const auto& candidate : candidates) json.push_back({candidate.start.count(), candidate.confidence});
  return dump(json);
}

std::vector<Placement::Candidate> candidates_of(const std::string& text) {
  std::vector<Placement::Candidate> candidates;
  for (const auto& pair : array_of(text))
    if (is_pair(pair)) candidates.push_back({Micros(pair[0].get<std::int64_t>()), pair[1].get<double>()});
  return candidates;
}

std::string origin_text(const std::map<std::string, std::string>& origin) {
  Json json = Json::object();
  for (const auto& [field, source] : origin) json[field] = source;
  return dump(json);
}

std::map<std::string, std::string> origin_of(const std::string& text) {
  std::map<std::string, std::string> origin;
  const auto json = Json::parse(text, nullptr, /*allow_exceptions=*/false);
  if (!json.is_object()) return origin;
  for (const auto& [field, source] : json.items())
    if (source.is_string()) origin[field] = source.get<std::string>();
  return origin;
}

Result<void> insert_problems(Db& db, std::optional<RollId> roll, std::optional<ClipId> clip,
                             std::span<const Problem> problems, Instant at) {
  auto insert = TRY(db.prepare(
      "INSERT INTO problem (roll_id, clip_id, path, destination, code, message, at) VALUES (?, ?, ?, ?, ?, ?, ?)"));
  for (const auto& problem : problems)
    TRY(insert.run(roll, clip, Blob{problem.path}, problem.destination, to_string(problem.code), problem.message, at));
  return {};
}

}  // namespace everytake::catalogue
