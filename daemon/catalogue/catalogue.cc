#include "catalogue/catalogue.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>

#include "base/text.h"
#include "catalogue/columns.h"
#include "catalogue/migrate.h"

namespace everytake::catalogue {
namespace {

struct Held {
  Holder holder;
  Instant since;
};

Result<std::optional<Held>> held_by(Db& db, const std::string& card) {
  auto rows = TRY(db.prepare("SELECT pid, boot, born, since FROM lease WHERE card = ?"));
  TRY(rows.bind(card));
  if (!TRY(rows.step())) return std::nullopt;
  return Held{{rows.next<std::int64_t>(), rows.next<std::string>(), rows.next<std::int64_t>()}, rows.next<Instant>()};
}

std::string in_other_hands(const Holder& holder, Instant since, const Holder& self) {
  if (holder.machine().empty() || holder.machine() == self.machine())
    return fmt::format("process {} is copying this card since {}: wait for it, or stop it", holder.pid,
                       local_time(since));
  return fmt::format(
      "process {} on the computer \"{}\" is copying this card since {}, and can't be asked from here whether it still "
      "does: wait for it, or stop it there. If that computer is off and won't do it, say so in the shoot's folder, "
      "with "
      "no everytake running: sqlite3 catalogue.sqlite \"DELETE FROM lease\"",
      holder.pid, shown(holder.machine_name()), local_time(since));
}

Result<std::string> next_roll_name(Db& db, const std::function<bool(const std::string&)>& taken) {
  int highest = 0;
  for (const auto& name :
       TRY(db.all("SELECT name FROM roll", [](Statement& row) { return row.next<std::string>(); }))) {
    int number = 0;
    std::from_chars(name.data() + 1, name.data() + name.size(), number);
    highest = std::max(highest, number);
  }
  for (;;) {
    auto name = fmt::format("R{:03}", ++highest);
    if (!taken(name)) return name;
  }
}

Result<RollId> insert_roll(Db& db, const Roll& roll) {
  TRY(
      db.run("INSERT INTO roll (name, opened_at, card, card_root, card_label, card_uuid, identity)"
             " VALUES (?, ?, ?, ?, ?, ?, ?)",
             roll.name, roll.opened_at, roll.card, roll.card_root, roll.card_label, roll.card_uuid, roll.identity));
  return RollId{db.last_row()};
}

constexpr const char* kTwoReadings =
    "two readings of the card gave different bytes: offload it again, with another reader if you have one";

// A digest that is known is moved by two equal readings only. The schema sees to it that copies with another one lose
// their state then.
Result<void> write_readings(Db& db, std::span<const FileReading> readings) {
  auto update = TRY(
      db.prepare("UPDATE file"
                 " SET digest = ?1, sample = ?2, readings = iif(digest IS ?1, max(readings, ?3), ?3), suspect = NULL"
                 " WHERE id = ?4 AND (digest IS NULL OR digest = ?1 OR ?3 >= 2)"));
  auto doubt = TRY(db.prepare("UPDATE file SET suspect = ? WHERE id = ?"));
  for (const auto& reading : readings) {
    TRY(update.run(reading.digest, reading.sample, reading.readings, reading.file));
    if (db.changes() > 0) continue;
    TRY(doubt.run(kTwoReadings, reading.file));
    if (db.changes() == 0) return fail(Code::not_found, fmt::format("there is no file with id {}", reading.file.value));
  }
  return {};
}

// A copy that failed keeps the digest of what lay there: it was ours.
Result<void> write_copies(Db& db, std::span<const CopyRow> copies) {
  auto put = TRY(db.prepare(
      "INSERT OR REPLACE INTO copy"
      " (file_id, destination_id, state, stored_path, readback, verified_at, size, mtime_ns, ctime_ns, inode, digest)"
      " VALUES (?1, ?2, iif(?3 = 'verified' AND ?11 IS NOT coalesce((SELECT digest FROM file WHERE id = ?1), x''), "
      "'failed', ?3),"
      " ?4, ?5, ?6, ?7, ?8, ?9, ?10,"
      " coalesce(?11, (SELECT digest FROM copy"
      "  WHERE file_id = ?1 AND destination_id = ?2 AND stored_path = ?4)))"));
  for (const auto& copy : copies) {
    const auto readback = copy.readback ? std::optional<std::string>(to_string(*copy.readback)) : std::nullopt;
    const auto if_read_back = [&]<class T>(T value) {
      return copy.verified_at ? std::optional<T>(value) : std::nullopt;
    };
    TRY(put.run(copy.file, copy.destination, to_string(copy.state), copy.stored, readback, copy.verified_at,
                if_read_back(copy.stat.size), if_read_back(copy.stat.mtime), if_read_back(copy.stat.ctime),
                if_read_back(copy.stat.inode), copy.digest));
  }
  return {};
}

// When a listing counts as seen: now, but later than any before, wherever the clock was set meanwhile.
Result<Instant> after_all_visits(Db& db, Instant now) {
  auto last =
      TRY(db.prepare("SELECT MAX(seen_at) FROM (SELECT seen_at FROM file UNION ALL SELECT seen_at FROM sighting)"));
  TRY(last.step());
  const auto before = last.next<std::optional<Instant>>();
  return before ? std::max(now, *before + Micros(1)) : now;
}

}  // namespace

Result<std::unique_ptr<Catalogue>> Catalogue::open(const Path& file, const Db::Options& options) {
  auto db = TRY(Db::open(file, options));
  if (auto done = migrate(db); !done) return tl::unexpected(within(shown(file.string()), std::move(done.error())));
  return std::unique_ptr<Catalogue>(new Catalogue(std::move(db)));
}

Result<std::unique_ptr<Catalogue>> Catalogue::empty() {
  Db::Options options;
  options.in_memory = true;
  return open("", options);
}

// ---- Cards --------------------------------------------------------------------------------------------------------

Result<void> Catalogue::take_card(const std::string& card, const Holder& self, Instant now,
                                  const std::function<bool(const Holder&)>& alive) {
  MutexLock lock(mu_);
  auto transaction = TRY(Transaction::begin(db_));
  if (const auto held = TRY(held_by(db_, card)); held && alive(held->holder))
    return fail(Code::busy, in_other_hands(held->holder, held->since, self));
  TRY(db_.run("INSERT OR REPLACE INTO lease (card, pid, since, boot, born) VALUES (?, ?, ?, ?, ?)", card, self.pid, now,
              self.boot, self.born));
  return transaction.commit();
}

Result<void> Catalogue::release_card(const std::string& card, const Holder& self) {
  MutexLock lock(mu_);
  return db_.run("DELETE FROM lease WHERE card = ? AND pid = ? AND boot = ? AND born = ?", card, self.pid, self.boot,
                 self.born);
}

// ---- Offloading ---------------------------------------------------------------------------------------------------

Result<DestinationId> Catalogue::destination(const DestinationRow& now) {
  MutexLock lock(mu_);
  auto transaction = TRY(Transaction::begin(db_));
  if (!now.mark.empty())
    TRY(
        db_.run("UPDATE copy SET state = 'copied'"
                " WHERE state = 'verified' AND destination_id ="
                " (SELECT id FROM destination WHERE name = ?1 AND mark = '' AND (fs_uuid = '' OR fs_uuid != ?2))",
                now.name, now.fs_uuid));
  auto put =
      TRY(db_.prepare("INSERT INTO destination (name, path, disk, fs_uuid, mark, home)"
                      " VALUES (?, ?, ?, ?, ?, ?)"
                      " ON CONFLICT (name) DO UPDATE"
                      " SET path = excluded.path, disk = iif(excluded.disk = '', disk, excluded.disk),"
                      " fs_uuid = iif(excluded.fs_uuid = '', fs_uuid, excluded.fs_uuid),"
                      " mark = iif(excluded.mark = '', mark, excluded.mark),"
                      " home = iif(excluded.home = x'', home, excluded.home)"
                      " RETURNING id"));
  TRY(put.bind(now.name, now.path, now.disk, now.fs_uuid, now.mark, now.home));
  TRY(put.step());
  const auto id = put.next<DestinationId>();
  TRY(put.step());  // to its end: it must not be open at the commit
  TRY(transaction.commit());
  return id;
}

Result<Catalogue::Visit> Catalogue::open_visit(Roll roll, std::span<const VisitedFile> files,
                                               const std::function<bool(const std::string&)>& taken) {
  MutexLock lock(mu_);
  auto transaction = TRY(Transaction::begin(db_));
  const auto now = TRY(after_all_visits(db_, roll.opened_at));
  auto seen = TRY(db_.prepare("UPDATE file SET seen_at = ? WHERE id = ?"));
  auto forget = TRY(db_.prepare("DELETE FROM sighting WHERE card = ? AND path = ?"));
  auto met = TRY(db_.prepare("UPDATE sighting SET seen_at = ? WHERE card = ? AND path = ?"));
  auto insert = TRY(db_.prepare("INSERT INTO file (roll_id, path, size, mtime_ns, seen_at) VALUES (?, ?, ?, ?, ?)"));
  Visit visit;
  for (const auto& [id, file, elsewhere] : files) {
    if (id) {
      if (elsewhere)
        TRY(met.run(now, roll.card, file.path));
      else
        TRY(seen.run(now, *id));
      visit.files.push_back(*id);
      continue;
    }
    if (!visit.roll) {
      roll.name = TRY(next_roll_name(db_, taken));
      roll.id = TRY(insert_roll(db_, roll));
      visit.roll = roll;
    }
    TRY(forget.run(roll.card, file.path));  // this path has a file of its own now
    if (auto done = insert.run(roll.id, file.path, file.size, file.mtime, now); !done)
      return tl::unexpected(within(shown(file.path.string()), std::move(done.error())));
    visit.files.push_back(FileId{db_.last_row()});
  }
  TRY(transaction.commit());
  return visit;
}

Result<void> Catalogue::record_trouble(FileId file, const std::string& what) {
  MutexLock lock(mu_);
  return db_.run("UPDATE file SET suspect = ? WHERE id = ?", what, file);
}

Result<void> Catalogue::record_sightings(const std::string& card, std::span<const Sighting> sightings) {
  if (sightings.empty()) return {};
  MutexLock lock(mu_);
  auto transaction = TRY(Transaction::begin(db_));
  auto put = TRY(
      db_.prepare("INSERT OR REPLACE INTO sighting (card, path, mtime_ns, file_id, seen_at) VALUES (?, ?, ?, ?, 0)"));
  for (const auto& each : sightings) TRY(put.run(card, each.as.path, each.as.mtime, each.file));
  return transaction.commit();
}

Result<void> Catalogue::forget_sighting(const std::string& card, const Path& path) {
  MutexLock lock(mu_);
  return db_.run("DELETE FROM sighting WHERE card = ? AND path = ?", card, path);
}

Result<void> Catalogue::note_length_of_song(const Path& file, std::uint64_t size, FileTime mtime, Micros length) {
  MutexLock lock(mu_);
  return db_.run("INSERT OR REPLACE INTO song_length (file, size, mtime_ns, length_us) VALUES (?, ?, ?, ?)", file, size,
                 mtime, length);
}

Result<void> Catalogue::add_stamp(const std::string& stamp, Instant now) {
  MutexLock lock(mu_);
  return db_.run("INSERT OR IGNORE INTO kept (stamp, at) SELECT ?, max(?, 1 + coalesce(max(at), 0)) FROM kept", stamp,
                 now);
}

Result<void> Catalogue::take_over(const std::string& id, const std::string& stamp) {
  MutexLock lock(mu_);
  auto transaction = TRY(Transaction::begin(db_));
  TRY(db_.run("UPDATE identity SET id = ?", id));
  TRY(db_.run("INSERT OR IGNORE INTO kept (stamp, at) SELECT ?, 1 + coalesce(max(at), 0) FROM kept", stamp));
  return transaction.commit();
}

Result<void> Catalogue::record_copies(std::span<const CopyRow> copies, std::span<const FileReading> readings,
                                      std::span<const FileTrouble> troubles) {
  if (copies.empty() && readings.empty() && troubles.empty()) return {};
  MutexLock lock(mu_);
  auto transaction = TRY(Transaction::begin(db_));
  TRY(write_readings(db_, readings));
  TRY(write_copies(db_, copies));
  for (const auto& [file, what] : troubles) TRY(db_.run("UPDATE file SET suspect = ? WHERE id = ?", what, file));
  return transaction.commit();
}

Result<void> Catalogue::record_problems(RollId roll, std::span<const Problem> problems, Instant now) {
  MutexLock lock(mu_);
  auto transaction = TRY(Transaction::begin(db_));
  TRY(db_.run("DELETE FROM problem WHERE roll_id = ?", roll));
  TRY(insert_problems(db_, roll, std::nullopt, problems, now));
  return transaction.commit();
}

}  // namespace everytake::catalogue
