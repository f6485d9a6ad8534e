// Catalogue::clips(): a few queries over everything, joined here; never one a clip.
#include <map>

#include "base/json.h"
#include "base/text.h"
#include "catalogue/catalogue.h"
#include "catalogue/columns.h"

namespace everytake {
namespace {

using ById = std::map<std::int64_t, Clip*>;

std::optional<Rational> rate_of(const std::optional<std::string>& text) {
  return text ? parse_rate(*text) : std::nullopt;
}

std::optional<int> small(std::optional<std::int64_t> value) {
  return map(value, [](std::int64_t v) { return static_cast<int>(v); });
}

std::optional<bool> truth(std::optional<std::int64_t> value) {
  return map(value, [](std::int64_t v) { return v != 0; });
}

ClipFacts facts_of(Statement& row, int column) {
  ClipFacts facts;
  facts.duration = map(row.maybe_integer(column++), [](std::int64_t us) { return Micros(us); });
  facts.frames = row.maybe_integer(column++);
  facts.frame_rate = rate_of(row.maybe_text(column++));
  facts.capture_rate = rate_of(row.maybe_text(column++));
  facts.width = small(row.maybe_integer(column++));
  facts.height = small(row.maybe_integer(column++));
  facts.rotation = small(row.maybe_integer(column++));
  facts.codec = row.maybe_text(column++);
  facts.bit_depth = small(row.maybe_integer(column++));
  facts.bit_rate = row.maybe_integer(column++);
  facts.gamma = row.maybe_text(column++);
  facts.gamut = row.maybe_text(column++);
  facts.timecode = row.maybe_text(column++);
  facts.drop_frame = truth(row.maybe_integer(column++));
  facts.recorded_at = map(row.maybe_integer(column++), instant);
  facts.camera = row.maybe_text(column++);
  facts.lens = row.maybe_text(column++);
  facts.audio = truth(row.maybe_integer(column++));
  const auto origin = Json::parse(row.text(column), nullptr, false);
  if (origin.is_object())
    for (const auto& [field, value] : origin.items())
      if (value.is_string()) facts.origin[field] = value.get<std::string>();
  return facts;
}

Result<std::vector<Clip>> bare_clips(Db& db) {
  auto query = TRY(db.prepare(
      "SELECT clip.id, roll.name, clip.name, file.path, file.digest, "
      "(SELECT sum(part.size) FROM clip_file JOIN file AS part ON part.id = clip_file.file_id "
      " WHERE clip_id = clip.id AND role = 'video'), "
      "duration_us, frames, frame_rate, capture_rate, width, height, rotation, codec, bit_depth, bit_rate, gamma, "
      "gamut, timecode, drop_frame, recorded_at, camera, lens, audio, origin "
      "FROM clip JOIN roll ON roll.id = clip.roll_id JOIN file ON file.id = clip.file_id "
      "ORDER BY roll.id, file.path"));
  std::vector<Clip> clips;
  while (TRY(query.step())) {
    Clip clip;
    clip.id = ClipId{query.integer(0)};
    clip.roll = query.text(1);
    clip.name = query.text(2);
    clip.path = query.text(3);
    clip.digest = map(query.maybe_text(4), lower_hex);
    clip.size = static_cast<std::uint64_t>(query.integer(5));
    clip.facts = facts_of(query, 6);
    clips.push_back(std::move(clip));
  }
  return clips;
}

// Marks come with the strongest voice first: what it says of a field silences the weaker ones.
Result<void> add_marks(Db& db, const ById& clips) {
  auto query =
      TRY(db.prepare("SELECT clip_id, field, value, by, because FROM mark ORDER BY clip_id, field, "
                     "CASE by WHEN 'hand' THEN 0 WHEN 'setup' THEN 1 ELSE 2 END, value"));
  std::string spoken;  // clip and field, and who spoke of it
  std::string voice;
  while (TRY(query.step())) {
    const auto it = clips.find(query.integer(0));
    if (it == clips.end()) continue;
    Clip& clip = *it->second;
    const auto field = query.text(1), value = query.text(2), by = query.text(3);
    const auto subject = std::to_string(clip.id.value) + field;
    if (subject == spoken && by != voice) continue;
    spoken = subject;
    voice = by;
    if (field == "kind")
      clip.judgement = {parse_kind(value), by_of(by), query.text(4)};
    else if (field == "member")
      clip.members.push_back(value);
    else if (field == "section")
      clip.sections.push_back(value);
    else if (field == "look")
      clip.look = value;
    else if (field == "angle")
      clip.angle = value;
    else if (field == "note")
      clip.note = value;
    else if (field == "rating")
      clip.rating = std::atoi(value.c_str());
  }
  return {};
}

Result<void> add_placements(Db& db, const ById& clips) {
  // The hand's row comes last and stays.
  auto query =
      TRY(db.prepare("SELECT clip_id, by, state, start_us, speed, drift_ppm, confidence, spans, candidates "
                     "FROM placement ORDER BY by = 'hand'"));
  while (TRY(query.step())) {
    const auto it = clips.find(query.integer(0));
    if (it == clips.end()) continue;
    auto& placement = it->second->placement;
    placement.by = by_of(query.text(1));
    placement.state = placement_state_of(query.text(2));
    placement.start = Micros(query.integer(3));
    placement.speed = query.real(4);
    placement.drift_ppm = query.real(5);
    placement.confidence = query.maybe_real(6);
    placement.spans = spans_of(query.text(7));
    placement.candidates = candidates_of(query.text(8));
  }
  return {};
}

Result<void> add_copies(Db& db, const ById& clips) {
  auto query =
      TRY(db.prepare("SELECT clip.id, destination.name, destination.path, stored_path, state, verified_at "
                     "FROM clip JOIN copy ON copy.file_id = clip.file_id "
                     "JOIN destination ON destination.id = destination_id ORDER BY clip.id, destination.id"));
  while (TRY(query.step())) {
    const auto it = clips.find(query.integer(0));
    if (it == clips.end()) continue;
    it->second->copies.push_back({query.text(1), Path(query.text(2)) / query.text(3), copy_state_of(query.text(4)),
                                  map(query.maybe_integer(5), instant)});
  }
  return {};
}

Result<void> add_problems(Db& db, const ById& clips) {
  auto query =
      TRY(db.prepare("SELECT clip_id, code, path, destination, message FROM problem "
                     "WHERE clip_id IS NOT NULL ORDER BY id"));
  while (TRY(query.step())) {
    const auto it = clips.find(query.integer(0));
    if (it != clips.end())
      it->second->facts.problems.push_back({query.text(1), query.text(2), query.text(3), query.text(4)});
  }
  return {};
}

}  // namespace

Result<std::vector<Clip>> Catalogue::clips() {
  MutexLock lock(mu_);
  // One picture of one moment: no other process changes anything between the queries.
  auto transaction = TRY(Transaction::begin(db_));
  auto clips = TRY(bare_clips(db_));
  ById by_id;
  for (auto& clip : clips) by_id[clip.id.value] = &clip;
  TRY(add_marks(db_, by_id));
  TRY(add_placements(db_, by_id));
  TRY(add_copies(db_, by_id));
  TRY(add_problems(db_, by_id));
  TRY(transaction.commit());
  return clips;
}

}  // namespace everytake
