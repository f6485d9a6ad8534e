#include "catalogue/catalogue.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>

#include "base/text.h"
#include "catalogue/columns.h"
#include "catalogue/migrate.h"

namespace everytake {
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

Result<void> write_readings(Db& db, std::span<const FileReading> readings) {
  // Only readings that gave the same digest add up.
  auto update = TRY(
      db.prepare("UPDATE file"
                 " SET digest = ?1, sample = ?2, readings = iif(digest IS ?1, max(readings, ?3), ?3), suspect = NULL"
                 " WHERE id = ?4"));
  for (const auto& reading : readings) {
    const auto digest = TRY(digest_bytes(reading.digest));
    const auto sample = TRY(digest_bytes(reading.sample));
    TRY(update.run(Blob{digest}, Blob{sample}, reading.readings, reading.file));
    if (db.changes() == 0) return fail(Code::not_found, fmt::format("there is no file with id {}", reading.file.value));
  }
  return {};
}

Result<void> write_copies(Db& db, std::span<const CopyRow> copies) {
  auto put = TRY(db.prepare(
      "INSERT OR REPLACE INTO copy"
      " (file_id, destination_id, state, stored_path, readback, verified_at, size, mtime_ns, ctime_ns, inode)"
      " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"));
  for (const auto& copy : copies) {
    const auto readback = copy.readback ? std::optional<std::string>(to_string(*copy.readback)) : std::nullopt;
    const auto stood = copy.verified_at ? std::optional(copy.stat) : std::nullopt;
    TRY(put.run(copy.file, copy.destination, to_string(copy.state), copy.stored, readback, copy.verified_at,
                stood ? std::optional(stood->size) : std::nullopt, stood ? std::optional(stood->mtime) : std::nullopt,
                stood ? std::optional(stood->ctime) : std::nullopt,
                stood ? std::optional(stood->inode) : std::nullopt));
  }
  return {};
}

// When a listing counts as seen: now, but later than any before, wherever the clock was set meanwhile.
Result<Instant> after_all_visits(Db& db, Instant now) {
  auto last = TRY(db.prepare("SELECT MAX(seen_at) FROM file"));
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
    return fail(Code::busy, fmt::format("process {} is working on this card since {}: wait for it, or stop it",
                                        held->holder.pid, iso8601(held->since)));
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

Result<DestinationId> Catalogue::destination(const std::string& name, const Path& path, const std::string& disk,
                                             const std::string& fs_uuid) {
  MutexLock lock(mu_);
  auto put =
      TRY(db_.prepare("INSERT INTO destination (name, path, disk, fs_uuid)"
                      " VALUES (?, ?, ?, ?)"
                      " ON CONFLICT (name) DO UPDATE"
                      " SET path = excluded.path, disk = excluded.disk, fs_uuid = excluded.fs_uuid"
                      " RETURNING id"));
  TRY(put.bind(name, path, disk, fs_uuid));
  TRY(put.step());
  const auto id = put.next<DestinationId>();
  TRY(put.step());  // only then is it committed
  return id;
}

Result<Catalogue::Visit> Catalogue::open_visit(Roll roll, std::span<const SeenFile> files,
                                               const std::function<bool(const std::string&)>& taken) {
  MutexLock lock(mu_);
  auto transaction = TRY(Transaction::begin(db_));
  const auto now = TRY(after_all_visits(db_, roll.opened_at));
  auto seen = TRY(db_.prepare("UPDATE file SET seen_at = ? WHERE id = ?"));
  auto insert = TRY(db_.prepare("INSERT INTO file (roll_id, path, size, mtime_ns, seen_at) VALUES (?, ?, ?, ?, ?)"));
  Visit visit;
  for (const auto& [id, file] : files) {
    if (id) {
      TRY(seen.run(now, *id));
      visit.files.push_back(*id);
      continue;
    }
    if (!visit.roll) {
      roll.name = TRY(next_roll_name(db_, taken));
      roll.id = TRY(insert_roll(db_, roll));
      visit.roll = roll;
    }
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

Result<void> Catalogue::record_copies(std::span<const CopyRow> copies, std::span<const FileReading> readings) {
  if (copies.empty() && readings.empty()) return {};
  MutexLock lock(mu_);
  auto transaction = TRY(Transaction::begin(db_));
  TRY(write_readings(db_, readings));
  TRY(write_copies(db_, copies));
  return transaction.commit();
}

Result<void> Catalogue::record_problems(RollId roll, std::span<const Problem> problems, Instant now) {
  MutexLock lock(mu_);
  auto transaction = TRY(Transaction::begin(db_));
  TRY(db_.run("DELETE FROM problem WHERE roll_id = ?", roll));
  TRY(insert_problems(db_, roll, std::nullopt, problems, now));
  return transaction.commit();
}

}  // namespace everytake
