#include "catalogue/catalogue.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <unordered_map>

#include "base/json.h"
#include "base/text.h"
#include "catalogue/columns.h"
#include "catalogue/migrate.h"

namespace everytake {

Result<std::unique_ptr<Catalogue>> Catalogue::open(const Path& file, const char* vfs) {
  auto db = TRY(Db::open(file, vfs));
  TRY(migrate(db));
  return std::unique_ptr<Catalogue>(new Catalogue(std::move(db)));
}

// ---- Cards --------------------------------------------------------------------------------------------------------

Result<void> Catalogue::take_card(const std::string& card, const Holder& self, Instant now,
                                  const std::function<bool(const Holder&)>& alive) {
  MutexLock lock(mu_);
  auto transaction = TRY(Transaction::begin(db_));
  auto find = TRY(db_.prepare("SELECT pid, boot, born FROM lease WHERE card = ?1"));
  if (TRY(find.bind(card).step())) {
    const Holder holder{find.integer(0), find.text(1), find.integer(2)};
    if (alive(holder))
      return fail(Code::busy, fmt::format("process {} is offloading this card: wait for it, or stop it", holder.pid));
  }
  auto take =
      TRY(db_.prepare("INSERT OR REPLACE INTO lease (card, pid, since, boot, born) VALUES (?1, ?2, ?3, ?4, ?5)"));
  TRY(take.bind(card, self.pid, micros(now), self.boot, self.born).run());
  return transaction.commit();
}

Result<void> Catalogue::release_card(const std::string& card) {
  MutexLock lock(mu_);
  return db_.run("DELETE FROM lease WHERE card = ?1", card);
}

// ---- Offloading ---------------------------------------------------------------------------------------------------

Result<std::vector<Roll>> Catalogue::rolls() {
  MutexLock lock(mu_);
  auto query =
      TRY(db_.prepare("SELECT id, name, opened_at, card, card_root, card_label, card_uuid, identity "
                      "FROM roll ORDER BY id"));
  std::vector<Roll> rolls;
  while (TRY(query.step()))
    rolls.push_back({RollId{query.integer(0)}, query.text(1), instant(query.integer(2)), query.text(3), query.text(4),
                     query.text(5), query.text(6), query.text(7)});
  return rolls;
}

template <class Value>
Result<std::vector<FileRow>> Catalogue::files_where(const char* condition, const Value& value) {
  auto query = TRY(db_.prepare(
      fmt::format("SELECT file.id, roll_id, path, size, mtime_ns, sample, digest, readings, suspect, seen_at "
                  "FROM file JOIN roll ON roll.id = roll_id "
                  "WHERE {} ORDER BY file.id",
                  condition)));
  std::vector<FileRow> rows;
  std::unordered_map<std::int64_t, std::size_t> index;
  query.bind(value);
  while (TRY(query.step())) {
    FileRow row;
    row.id = FileId{query.integer(0)};
    row.roll = RollId{query.integer(1)};
    row.file = {query.text(2), static_cast<std::uint64_t>(query.integer(3)), file_time(query.integer(4))};
    row.sample = map(query.maybe_text(5), lower_hex);
    row.digest = map(query.maybe_text(6), lower_hex);
    row.readings = static_cast<int>(query.integer(7));
    row.suspect = query.maybe_text(8);
    row.seen_at = instant(query.integer(9));
    index[row.id.value] = rows.size();
    rows.push_back(std::move(row));
  }
  auto copies = TRY(db_.prepare(fmt::format(
      "SELECT file_id, destination_id, state, stored_path, readback, verified_at, copy.size, copy.mtime_ns, "
      "ctime_ns, inode "
      "FROM copy JOIN file ON file.id = file_id JOIN roll ON roll.id = roll_id "
      "WHERE {} ORDER BY file_id, destination_id",
      condition)));
  copies.bind(value);
  while (TRY(copies.step())) {
    CopyRow copy;
    copy.file = FileId{copies.integer(0)};
    copy.destination = DestinationId{copies.integer(1)};
    copy.state = copy_state_of(copies.text(2));
    copy.stored = copies.text(3);
    if (const auto text = copies.maybe_text(4)) copy.readback = readback_of(*text);
    copy.verified_at = map(copies.maybe_integer(5), instant);
    copy.stat.type = FileType::regular;
    copy.stat.size = static_cast<std::uint64_t>(copies.integer(6));
    copy.stat.mtime = file_time(copies.integer(7));
    copy.stat.ctime = file_time(copies.integer(8));
    copy.stat.inode = static_cast<std::uint64_t>(copies.integer(9));
    rows[index.at(copy.file.value)].copies.push_back(std::move(copy));
  }
  return rows;
}

Result<std::vector<FileRow>> Catalogue::files_of_card(const std::string& card) {
  MutexLock lock(mu_);
  return files_where("roll.card = ?1", card);
}

Result<std::vector<FileRow>> Catalogue::files_of_roll(RollId roll) {
  MutexLock lock(mu_);
  return files_where("roll.id = ?1", roll.value);
}

Result<DestinationId> Catalogue::destination(const std::string& name, const Path& path, const std::string& disk,
                                             const std::string& fs_uuid) {
  MutexLock lock(mu_);
  auto put =
      TRY(db_.prepare("INSERT INTO destination (name, path, disk, fs_uuid) VALUES (?1, ?2, ?3, ?4) "
                      "ON CONFLICT (name) DO UPDATE SET path = ?2, disk = ?3, fs_uuid = ?4 "
                      "RETURNING id"));
  if (!TRY(put.bind(name, blob(path), disk, fs_uuid).step())) return fail(Code::corrupt, "catalogue: no row came back");
  const DestinationId id{put.integer(0)};
  TRY(put.step());
  return id;
}

Result<std::vector<DestinationRow>> Catalogue::destinations() {
  MutexLock lock(mu_);
  auto query = TRY(db_.prepare("SELECT id, name, path, disk, fs_uuid FROM destination ORDER BY id"));
  std::vector<DestinationRow> rows;
  while (TRY(query.step()))
    rows.push_back({DestinationId{query.integer(0)}, query.text(1), query.text(2), query.text(3), query.text(4)});
  return rows;
}

Result<std::string> Catalogue::next_roll_name(const std::function<bool(const std::string&)>& taken) {
  auto query = TRY(db_.prepare("SELECT name FROM roll"));
  int highest = 0;
  while (TRY(query.step())) {
    const auto name = query.text(0);
    int number = 0;
    std::from_chars(name.data() + 1, name.data() + name.size(), number);
    highest = std::max(highest, number);
  }
  for (;;) {
    const auto name = fmt::format("R{:03}", ++highest);
    if (!taken(name)) return name;
  }
}

Result<Catalogue::Visit> Catalogue::open_visit(Roll roll, std::span<const SeenFile> files,
                                               const std::function<bool(const std::string&)>& taken) {
  MutexLock lock(mu_);
  auto transaction = TRY(Transaction::begin(db_));
  auto seen = TRY(db_.prepare("UPDATE file SET seen_at = ?2 WHERE id = ?1"));
  auto insert =
      TRY(db_.prepare("INSERT INTO file (roll_id, path, size, mtime_ns, seen_at) VALUES (?1, ?2, ?3, ?4, ?5)"));
  Visit visit;
  for (const auto& file : files) {
    if (file.id) {
      TRY(seen.bind(file.id->value, micros(roll.opened_at)).run());
      visit.files.push_back(*file.id);
      continue;
    }
    if (!visit.roll) {
      roll.name = TRY(next_roll_name(taken));
      TRY(
          db_.run("INSERT INTO roll (name, opened_at, card, card_root, card_label, card_uuid, identity) "
                  "VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
                  roll.name, micros(roll.opened_at), roll.card, blob(roll.card_root), roll.card_label, roll.card_uuid,
                  roll.identity));
      roll.id = RollId{db_.last_row()};
      visit.roll = roll;
    }
    TRY(insert
            .bind(roll.id.value, blob(file.file.path), static_cast<std::int64_t>(file.file.size),
                  nanos(file.file.mtime), micros(roll.opened_at))
            .run());
    visit.files.push_back(FileId{db_.last_row()});
  }
  TRY(transaction.commit());
  return visit;
}

Result<void> Catalogue::record_reading(FileId file, const std::string& digest, const std::string& sample,
                                       int readings) {
  MutexLock lock(mu_);
  return db_.run(
      "UPDATE file SET digest = ?2, sample = ?3, readings = max(readings, ?4), suspect = NULL "
      "WHERE id = ?1",
      file.value, blob_of_hex(digest), blob_of_hex(sample), readings);
}

Result<void> Catalogue::record_trouble(FileId file, const std::string& what) {
  MutexLock lock(mu_);
  return db_.run("UPDATE file SET suspect = ?2 WHERE id = ?1", file.value, what);
}

Result<void> Catalogue::record_copies(std::span<const CopyRow> copies) {
  MutexLock lock(mu_);
  auto transaction = TRY(Transaction::begin(db_));
  auto put =
      TRY(db_.prepare("INSERT OR REPLACE INTO copy (file_id, destination_id, state, stored_path, readback, "
                      "verified_at, size, mtime_ns, "
                      "ctime_ns, inode) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)"));
  for (const auto& copy : copies)
    TRY(put.bind(copy.file.value, copy.destination.value, to_string(copy.state), blob(copy.stored),
                 map(copy.readback, [](Evidence e) { return std::string(readback_text(e)); }),
                 map(copy.verified_at, micros), static_cast<std::int64_t>(copy.stat.size), nanos(copy.stat.mtime),
                 nanos(copy.stat.ctime), static_cast<std::int64_t>(copy.stat.inode))
            .run());
  return transaction.commit();
}

namespace {

Result<void> insert_problems(Db& db, std::optional<std::int64_t> roll, std::optional<std::int64_t> clip,
                             std::span<const Problem> problems, Instant now) {
  auto insert =
      TRY(db.prepare("INSERT INTO problem (roll_id, clip_id, path, destination, code, message, at) "
                     "VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)"));
  for (const auto& problem : problems)
    TRY(insert.bind(roll, clip, Blob{problem.path}, problem.destination, problem.code, problem.message, micros(now))
            .run());
  return {};
}

}  // namespace

Result<void> Catalogue::record_problems(RollId roll, std::span<const Problem> problems, Instant now) {
  MutexLock lock(mu_);
  auto transaction = TRY(Transaction::begin(db_));
  TRY(db_.run("DELETE FROM problem WHERE roll_id = ?1", roll.value));
  TRY(insert_problems(db_, roll.value, std::nullopt, problems, now));
  return transaction.commit();
}

// ---- Clips --------------------------------------------------------------------------------------------------------

namespace {

const char* role_text(FileRole role) {
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
  return "video";
}

FileRole role_of(const std::string& text) {
  for (const auto role : {FileRole::video, FileRole::audio, FileRole::sidecar, FileRole::proxy, FileRole::thumbnail})
    if (text == role_text(role)) return role;
  return FileRole::sidecar;
}

std::string origin_text(const ClipFacts& facts) {
  Json json = Json::object();
  for (const auto& [field, origin] : facts.origin) json[field] = origin;
  return dump(json);
}

std::optional<std::string> rate_text(const std::optional<Rational>& rate) {
  return rate ? std::optional(to_string(*rate)) : std::nullopt;
}

}  // namespace

Result<std::vector<ClipId>> Catalogue::put_clips(std::span<const ClipFiles> clips,
                                                 const std::map<std::string, FileId>& files) {
  MutexLock lock(mu_);
  auto transaction = TRY(Transaction::begin(db_));
  auto put =
      TRY(db_.prepare("INSERT INTO clip (roll_id, name, file_id) "
                      "SELECT roll_id, ?1, id FROM file WHERE id = ?2 "
                      "ON CONFLICT (file_id) DO UPDATE SET name = ?1 RETURNING id"));
  auto part =
      TRY(db_.prepare("INSERT OR REPLACE INTO clip_file (clip_id, file_id, role, place) VALUES (?1, ?2, ?3, ?4)"));
  std::vector<ClipId> ids;
  for (const auto& clip : clips) {
    const auto first = files.find(clip.parts.front().path.string());
    if (first == files.end()) continue;
    if (!TRY(put.bind(clip.name, first->second.value).step()))
      return fail(Code::corrupt, "catalogue: no row came back");
    const ClipId id{put.integer(0)};
    TRY(put.step());
    ids.push_back(id);
    int place = 0;
    for (const auto& each : clip.parts) {
      const auto file = files.find(each.path.string());
      if (file != files.end()) TRY(part.bind(id.value, file->second.value, role_text(each.role), place++).run());
    }
  }
  TRY(transaction.commit());
  return ids;
}

Result<std::vector<PendingClip>> Catalogue::clips_to_study(std::span<const ClipId> only) {
  MutexLock lock(mu_);
  auto query =
      TRY(db_.prepare("SELECT clip.id, roll.name, clip.name, file.path, role "
                      "FROM clip JOIN roll ON roll.id = clip.roll_id "
                      "JOIN clip_file ON clip_id = clip.id JOIN file ON file.id = clip_file.file_id "
                      "WHERE studied_at IS NULL OR ?1 ORDER BY clip.id, place"));
  const auto wanted = [&](ClipId id) { return only.empty() || std::find(only.begin(), only.end(), id) != only.end(); };
  std::vector<PendingClip> clips;
  query.bind(!only.empty());
  while (TRY(query.step())) {
    const ClipId id{query.integer(0)};
    if (!wanted(id)) continue;
    if (clips.empty() || clips.back().id != id) clips.push_back({id, query.text(1), {query.text(2), {}}});
    clips.back().files.parts.push_back({query.text(3), role_of(query.text(4))});
  }
  return clips;
}

Result<void> Catalogue::record_facts(ClipId clip, const ClipFacts& facts, Instant now) {
  MutexLock lock(mu_);
  auto transaction = TRY(Transaction::begin(db_));
  TRY(
      db_.run("UPDATE clip SET studied_at = ?2, duration_us = ?3, frames = ?4, frame_rate = ?5, "
              "capture_rate = ?6, width = ?7, height = ?8, rotation = ?9, codec = ?10, bit_depth = ?11, "
              "bit_rate = ?12, gamma = ?13, gamut = ?14, timecode = ?15, drop_frame = ?16, recorded_at = ?17, "
              "camera = ?18, lens = ?19, audio = ?20, origin = ?21 WHERE id = ?1",
              clip.value, micros(now), map(facts.duration, [](Micros t) { return t.count(); }), facts.frames,
              rate_text(facts.frame_rate), rate_text(facts.capture_rate), facts.width, facts.height, facts.rotation,
              facts.codec, facts.bit_depth, facts.bit_rate, facts.gamma, facts.gamut, facts.timecode, facts.drop_frame,
              map(facts.recorded_at, micros), facts.camera, facts.lens, facts.audio, origin_text(facts)));
  TRY(db_.run("DELETE FROM problem WHERE clip_id = ?1", clip.value));
  TRY(insert_problems(db_, std::nullopt, clip.value, facts.problems, now));
  return transaction.commit();
}

Result<void> Catalogue::record_rule(ClipId clip, const Judgement& judgement) {
  MutexLock lock(mu_);
  auto transaction = TRY(Transaction::begin(db_));
  TRY(db_.run("DELETE FROM mark WHERE clip_id = ?1 AND field = 'kind' AND by = 'rule'", clip.value));
  // A clip of no kind keeps the sentence that says why.
  TRY(db_.run("INSERT INTO mark (clip_id, field, value, by, because) VALUES (?1, 'kind', ?2, 'rule', ?3)", clip.value,
              judgement.kind ? to_string(*judgement.kind) : "", judgement.because));
  return transaction.commit();
}

namespace {

Result<void> put_placement(Db& db, ClipId clip, const Placement& placement) {
  const char* by = placement.by == By::hand ? "hand" : "rule";
  if (placement.state == Placement::State::pending)
    return db.run("DELETE FROM placement WHERE clip_id = ?1 AND by = ?2", clip.value, by);
  return db.run(
      "INSERT OR REPLACE INTO placement (clip_id, by, state, start_us, speed, drift_ppm, confidence, "
      "spans, candidates) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
      clip.value, by, to_string(placement.state), placement.start.count(), placement.speed, placement.drift_ppm,
      placement.confidence, spans_text(placement.spans), candidates_text(placement.candidates));
}

Result<void> put_mark(Db& db, ClipId clip, const Catalogue::Mark& mark) {
  using Way = Catalogue::Mark::Way;
  if (mark.way == Way::remove)
    return db.run("DELETE FROM mark WHERE clip_id = ?1 AND field = ?2 AND value = ?3 AND by = 'hand'", clip.value,
                  mark.field, mark.value);
  if (mark.way != Way::add)
    TRY(db.run("DELETE FROM mark WHERE clip_id = ?1 AND field = ?2 AND by = 'hand'", clip.value, mark.field));
  if (mark.way == Way::clear) return {};
  return db.run("INSERT OR REPLACE INTO mark (clip_id, field, value, by) VALUES (?1, ?2, ?3, 'hand')", clip.value,
                mark.field, mark.value);
}

}  // namespace

Result<void> Catalogue::record_placement(ClipId clip, const Placement& placement) {
  MutexLock lock(mu_);
  return put_placement(db_, clip, placement);
}

Result<void> Catalogue::mark(std::span<const ClipId> clips, std::span<const Mark> marks,
                             std::span<const Placement> placements) {
  MutexLock lock(mu_);
  auto transaction = TRY(Transaction::begin(db_));
  for (std::size_t i = 0; i < clips.size(); ++i) {
    for (const auto& mark : marks) TRY(put_mark(db_, clips[i], mark));
    if (i < placements.size()) TRY(put_placement(db_, clips[i], placements[i]));
  }
  return transaction.commit();
}

}  // namespace everytake
