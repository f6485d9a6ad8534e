// What is written of clips.
#include <fmt/format.h>

#include <algorithm>

#include "base/text.h"
#include "catalogue/catalogue.h"
#include "catalogue/clip_columns.h"

namespace everytake::catalogue {
namespace {

Result<void> touched(Db& db, ClipId clip) {
  if (db.changes() == 0) return fail(Code::not_found, fmt::format("there is no clip with id {}", clip.value));
  return {};
}

// ---- Recordings ---------------------------------------------------------------------------------------------------

Result<ClipId> clip_row(Db& db, const std::string& name, FileId first) {
  auto put =
      TRY(db.prepare("INSERT INTO clip (roll_id, name, file_id)"
                     " SELECT roll_id, ?1, id FROM file WHERE id = ?2"
                     " ON CONFLICT (file_id) DO UPDATE SET name = ?1"
                     " RETURNING id"));
  TRY(put.bind(name, first));
  if (!TRY(put.step())) return fail(Code::not_found, fmt::format("there is no file with id {}", first.value));
  const auto id = put.next<ClipId>();
  TRY(put.step());
  return id;
}

// Whether the clip got a file, or a file another role.
Result<bool> put_parts(Db& db, ClipId id, const ClipFiles& clip, const std::map<std::string, FileId>& files) {
  auto put =
      TRY(db.prepare("INSERT INTO clip_file (clip_id, file_id, role, place)"
                     " VALUES (?1, ?2, ?3, ?4)"
                     " ON CONFLICT (clip_id, file_id) DO UPDATE SET role = ?3, place = ?4 WHERE role != ?3"));
  std::int64_t changes = 0;
  int place = 0;
  for (const auto& part : clip.parts) {
    const auto file = files.find(part.path.string());
    if (file == files.end()) continue;
    TRY(put.run(id, file->second, to_string(part.role), place++));
    changes += db.changes();
  }
  return changes > 0;
}

// ---- Marks --------------------------------------------------------------------------------------------------------

bool is_set(Field field) {
  return field == Field::member || field == Field::section;
}

// What the strongest voice says of a field; nothing and "none" are the same here.
Result<std::vector<std::string>> said(Db& db, ClipId clip, Field field) {
  auto rows = TRY(db.prepare("SELECT value FROM mark WHERE clip_id = ? AND field = ? AND by = ? ORDER BY value"));
  for (const By by : {By::hand, By::setup, By::rule}) {
    TRY(rows.bind(clip, to_string(field), to_string(by)));
    std::vector<std::string> values;
    bool any = false;
    while (TRY(rows.step())) {
      any = true;
      if (auto value = rows.next<std::string>(); !value.empty()) values.push_back(std::move(value));
    }
    if (any) return values;
  }
  return std::vector<std::string>{};
}

Result<void> say(Db& db, ClipId clip, Field field, By by, const std::vector<std::string>& values,
                 const std::string& because = "") {
  TRY(db.run("DELETE FROM mark WHERE clip_id = ? AND field = ? AND by = ?", clip, to_string(field), to_string(by)));
  for (const auto& value : values)
    TRY(db.run("INSERT INTO mark (clip_id, field, value, by, because) VALUES (?, ?, ?, ?, ?)", clip, to_string(field),
               value, to_string(by), because));
  return {};
}

// "None" needs saying only where a weaker voice would be heard otherwise.
Result<void> say_none(Db& db, ClipId clip, Field field) {
  TRY(say(db, clip, field, By::hand, {}));
  if (TRY(said(db, clip, field)).empty()) return {};
  return say(db, clip, field, By::hand, {""});
}

Result<void> change(Db& db, ClipId clip, const MarkChange& change) {
  using Act = MarkChange::Act;
  if (change.act == Act::clear) return say(db, clip, change.field, By::hand, {});
  auto values = is_set(change.field) ? TRY(said(db, clip, change.field)) : std::vector<std::string>{};
  std::erase(values, change.value);
  if (change.act == Act::set) values.push_back(change.value);
  return values.empty() ? say_none(db, clip, change.field) : say(db, clip, change.field, By::hand, values);
}

// ---- Placement ----------------------------------------------------------------------------------------------------

Result<void> forget_placement(Db& db, ClipId clip, By by) {
  return db.run("DELETE FROM placement WHERE clip_id = ? AND by = ?", clip, to_string(by));
}

Result<void> write_placement(Db& db, ClipId clip, const Placement& placement) {
  const auto by = placement.by == By::hand ? By::hand : By::rule;
  if (placement.state == Placement::State::pending) return forget_placement(db, clip, by);
  return db.run(
      "INSERT OR REPLACE INTO placement"
      " (clip_id, by, state, start_us, speed, drift_ppm, confidence, spans, candidates,"
      " settled_by)"
      " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
      clip, to_string(by), to_string(placement.state), placement.start, placement.speed, placement.drift_ppm,
      placement.confidence, spans_text(placement.spans), candidates_text(placement.candidates), placement.settled_by);
}

// ---- Taking back --------------------------------------------------------------------------------------------------

constexpr std::int64_t kChangesKept = 100;

Result<void> remember(Db& db, std::span<const HandEdit> edits) {
  TRY(db.run("INSERT INTO change DEFAULT VALUES"));
  const auto change = db.last_row();
  for (const auto& edit : edits)
    TRY(
        db.run("INSERT OR IGNORE INTO said_before"
               " (change_id, clip_id, marks, start_us, speed, drift_ppm, spans, candidates)"
               " SELECT ?, clip.id,"
               " (SELECT json_group_array(json_array(field, value, because)) FROM mark"
               "  WHERE clip_id = clip.id AND by = 'hand'),"
               " start_us, speed, drift_ppm, spans, candidates"
               " FROM clip LEFT JOIN placement ON placement.clip_id = clip.id AND placement.by = 'hand'"
               " WHERE clip.id = ?",
               change, edit.clip));
  return db.run("DELETE FROM change WHERE id <= ?", change - kChangesKept);
}

// What brings back the clips of a change, whose number each is given.
constexpr const char* kTakeBack[] = {
    "DELETE FROM mark WHERE by = 'hand' AND clip_id IN (SELECT clip_id FROM said_before WHERE change_id = ?)",
    "INSERT INTO mark (clip_id, field, value, by, because)"
    " SELECT clip_id, said.value ->> 0, said.value ->> 1, 'hand', said.value ->> 2"
    " FROM said_before, json_each(marks) AS said WHERE change_id = ?",
    "DELETE FROM placement WHERE by = 'hand' AND clip_id IN (SELECT clip_id FROM said_before WHERE change_id = ?)",
    "INSERT INTO placement (clip_id, by, state, start_us, speed, drift_ppm, spans, candidates)"
    " SELECT clip_id, 'hand', 'placed', start_us, speed, drift_ppm, spans, candidates"
    " FROM said_before WHERE change_id = ? AND start_us IS NOT NULL",
    "DELETE FROM change WHERE id = ?",
};

Result<void> apply(Db& db, const HandEdit& edit) {
  TRY(db.run("UPDATE clip SET id = id WHERE id = ?", edit.clip));
  TRY(touched(db, edit.clip));
  for (const auto& mark : edit.marks) TRY(change(db, edit.clip, mark));
  if (edit.clear_placement) TRY(forget_placement(db, edit.clip, By::hand));
  if (!edit.placement) return {};
  auto placement = *edit.placement;
  placement.by = By::hand;
  return write_placement(db, edit.clip, placement);
}

// All columns of ClipFacts, or of a part of it.
template <class Struct>
Result<void> write_columns(Db& db, ClipId clip, const Struct& values) {
  static const std::string kUpdate =
      fmt::format("UPDATE clip SET {} = ? WHERE id = ?", fmt::join(columns_of<Struct>(), " = ?, "));
  TRY(std::apply([&](const auto&... value) { return db.run(kUpdate, value..., clip); }, values_of(values)));
  return touched(db, clip);
}

}  // namespace

Result<std::vector<ClipId>> Catalogue::put_clips(std::span<const ClipFiles> clips,
                                                 const std::map<std::string, FileId>& files) {
  MutexLock lock(mu_);
  auto transaction = TRY(Transaction::begin(db_));
  std::vector<ClipId> ids;
  for (const auto& clip : clips) {
    if (clip.parts.empty()) return fail(Code::invalid, fmt::format("clip {} has no files", shown(clip.name)));
    const auto first = files.find(clip.parts.front().path.string());
    if (first == files.end()) continue;
    ids.push_back(TRY(clip_row(db_, clip.name, first->second)));
    if (TRY(put_parts(db_, ids.back(), clip, files)))
      TRY(db_.run("UPDATE clip SET studied_at = NULL WHERE id = ?", ids.back()));
  }
  TRY(transaction.commit());
  return ids;
}

Result<void> Catalogue::record_facts(ClipId clip, const ClipFacts& facts, Instant now) {
  MutexLock lock(mu_);
  auto transaction = TRY(Transaction::begin(db_));
  TRY(write_columns(db_, clip, facts));
  TRY(db_.run("UPDATE clip SET studied_at = ? WHERE id = ?", now, clip));
  TRY(db_.run("DELETE FROM problem WHERE clip_id = ?", clip));
  TRY(insert_problems(db_, std::nullopt, clip, facts.problems, now));
  return transaction.commit();
}

Result<void> Catalogue::record_levels(ClipId clip, const SoundLevels& levels) {
  MutexLock lock(mu_);
  return write_columns(db_, clip, levels);
}

Result<void> Catalogue::record_frames(ClipId clip, const FramesSeen& frames) {
  MutexLock lock(mu_);
  return write_columns(db_, clip, frames);
}

Result<void> Catalogue::record_rule(ClipId clip, const Judgement& judgement) {
  MutexLock lock(mu_);
  auto transaction = TRY(Transaction::begin(db_));
  const auto kind = judgement.kind ? to_string(*judgement.kind) : "";
  TRY(say(db_, clip, Field::kind, By::rule, {kind}, judgement.because));
  return transaction.commit();
}

Result<void> Catalogue::record_placement(ClipId clip, const Placement& placement) {
  MutexLock lock(mu_);
  return write_placement(db_, clip, placement);
}

Result<void> Catalogue::edit(std::span<const HandEdit> edits) {
  MutexLock lock(mu_);
  auto transaction = TRY(Transaction::begin(db_));
  TRY(remember(db_, edits));
  for (const auto& edit : edits) TRY(apply(db_, edit));
  return transaction.commit();
}

Result<std::vector<ClipId>> Catalogue::take_back_edit() {
  MutexLock lock(mu_);
  auto transaction = TRY(Transaction::begin(db_));
  const auto change = TRY(db_.one<std::int64_t>("SELECT id FROM change ORDER BY id DESC LIMIT 1"));
  if (!change) return std::vector<ClipId>{};
  auto clips = TRY(db_.all(
      "SELECT clip_id FROM said_before WHERE change_id = ? ORDER BY clip_id",
      [](Statement& row) { return row.next<ClipId>(); }, *change));
  for (const char* step : kTakeBack) TRY(db_.run(step, *change));
  TRY(transaction.commit());
  return clips;
}

}  // namespace everytake::catalogue
