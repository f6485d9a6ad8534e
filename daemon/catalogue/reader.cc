#include "catalogue/reader.h"

#include <fmt/format.h>

#include <algorithm>

#include "base/text.h"
#include "catalogue/columns.h"

namespace everytake::catalogue {
namespace {

#define ROLL_COLUMNS \
  "roll.id, roll.name, roll.opened_at, roll.card, roll.card_root, roll.card_label, roll.card_uuid, roll.identity"

Roll read_roll(Statement& row) {
  Roll roll;
  roll.id = row.next<RollId>();
  roll.name = row.next<std::string>();
  roll.opened_at = row.next<Instant>();
  roll.card = row.next<std::string>();
  roll.card_root = row.next<Path>();
  roll.card_label = row.next<std::string>();
  roll.card_uuid = row.next<std::string>();
  roll.identity = row.next<std::string>();
  return roll;
}

FileRow read_file(Statement& row) {
  FileRow file;
  file.id = row.next<FileId>();
  file.roll = row.next<RollId>();
  file.file.path = row.next<Path>();
  file.file.size = row.next<std::uint64_t>();
  file.file.mtime = row.next<FileTime>();
  file.sample = row.next<std::optional<Digest>>();
  file.digest = row.next<std::optional<Digest>>();
  file.readings = row.next<int>();
  file.suspect = row.next<std::optional<std::string>>();
  file.seen_at = row.next<Instant>();
  return file;
}

CopyRow read_copy(Statement& row) {
  CopyRow copy;
  copy.file = row.next<FileId>();
  copy.destination = row.next<DestinationId>();
  copy.state = copy_state_of(row.next<std::string>());
  copy.stored = row.next<Path>();
  if (const auto readback = row.next<std::optional<std::string>>()) copy.readback = evidence_of(*readback);
  copy.verified_at = row.next<std::optional<Instant>>();
  copy.stat.type = FileType::regular;
  copy.stat.size = row.next<std::uint64_t>();
  copy.stat.mtime = row.next<FileTime>();
  copy.stat.ctime = row.next<FileTime>();
  copy.stat.inode = row.next<std::uint64_t>();
  copy.digest = row.next<std::optional<Digest>>();
  return copy;
}

// Files with their copies, by id, where `condition` on file and roll holds for its parameters: one after the other.
template <class... Values>
Result<void> for_each_file(Db& db, const std::function<void(FileRow&&)>& take, const char* condition,
                           const Values&... values) {
  const auto state = TRY(Transaction::begin(db, Transaction::Mode::read));
  auto files = TRY(
      db.prepare(fmt::format("SELECT file.id, roll_id, path, file.size, file.mtime_ns, sample, file.digest, readings,"
                             " suspect, seen_at"
                             " FROM file"
                             " JOIN roll ON roll.id = roll_id"
                             " WHERE {}"
                             " ORDER BY file.id",
                             condition)));
  auto copies =
      TRY(db.prepare(fmt::format("SELECT file_id, destination_id, state, stored_path, readback, verified_at,"
                                 " copy.size, copy.mtime_ns, ctime_ns, inode, copy.digest"
                                 " FROM copy"
                                 " JOIN file ON file.id = file_id"
                                 " JOIN roll ON roll.id = roll_id"
                                 " WHERE {}"
                                 " ORDER BY file_id, destination_id",
                                 condition)));
  TRY(files.bind(values...));
  TRY(copies.bind(values...));
  std::optional<CopyRow> copy;
  const auto next_copy = [&]() -> Result<void> {
    copy = TRY(copies.step()) ? std::optional(read_copy(copies)) : std::nullopt;
    return {};
  };
  TRY(next_copy());
  while (TRY(files.step())) {
    auto file = read_file(files);
    while (copy && copy->file == file.id) {  // both are sorted, and no copy is without a file
      file.copies.push_back(std::move(*copy));
      TRY(next_copy());
    }
    take(std::move(file));
  }
  return {};
}

DestinationRow read_destination(Statement& row) {
  DestinationRow destination;
  destination.id = row.next<DestinationId>();
  destination.name = row.next<std::string>();
  destination.path = row.next<Path>();
  destination.disk = row.next<std::string>();
  destination.fs_uuid = row.next<std::string>();
  destination.mark = row.next<std::string>();
  destination.home = row.next<Path>();
  return destination;
}

Problem read_problem(Statement& row) {
  Problem problem;
  problem.code = problem_code_of(row.next<std::string>());
  problem.path = row.next<std::string>();
  problem.destination = row.next<std::string>();
  problem.message = row.next<std::string>();
  return problem;
}

Result<std::vector<Problem>> read_problems(Db& db, RollId roll) {
  return db.all("SELECT code, path, destination, message FROM problem WHERE roll_id = ? ORDER BY id", read_problem,
                roll);
}

// Each roll with what it holds, without its copies.
Result<std::vector<RollSummary>> summarise_rolls(Db& db) {
  return db.all("SELECT " ROLL_COLUMNS
                ","
                " (SELECT count(*) FROM file WHERE file.roll_id = roll.id),"
                " (SELECT coalesce(sum(size), 0) FROM file WHERE file.roll_id = roll.id)"
                " FROM roll"
                " ORDER BY roll.id",
                [](Statement& row) {
                  RollSummary summary;
                  summary.roll = read_roll(row);
                  summary.files = row.next<std::size_t>();
                  summary.bytes = row.next<std::uint64_t>();
                  return summary;
                });
}

RollSummary::At read_roll_at(Statement& row) {
  RollSummary::At at;
  at.destination = row.next<std::string>();
  at.verified = row.next<std::size_t>();
  at.failed = row.next<std::size_t>();
  at.begun = row.next<std::size_t>() - at.verified - at.failed;
  at.verified_bytes = row.next<std::uint64_t>();
  return at;
}

Result<void> add_copies(Db& db, std::vector<RollSummary>& rolls) {
  auto rows =
      TRY(db.prepare("SELECT file.roll_id, destination.name,"
                     " sum(copy.state = 'verified'), sum(copy.state = 'failed'), count(*),"
                     " sum(iif(copy.state = 'verified', file.size, 0))"
                     " FROM copy"
                     " JOIN file ON file.id = copy.file_id"
                     " JOIN destination ON destination.id = copy.destination_id"
                     " GROUP BY file.roll_id, destination.id"
                     " ORDER BY file.roll_id, destination.id"));
  auto roll = rolls.begin();
  while (TRY(rows.step())) {
    const auto id = rows.next<RollId>();
    while (roll->roll.id < id) ++roll;  // both are sorted, and no copy is without a roll
    roll->destinations.push_back(read_roll_at(rows));
  }
  return {};
}

}  // namespace

Result<std::vector<Roll>> Reader::rolls() const {
  MutexLock lock(mu_);
  return db_.all("SELECT " ROLL_COLUMNS " FROM roll ORDER BY id", read_roll);
}

Result<Roll> Reader::find_roll(std::string_view name) const {
  auto all = TRY(rolls());
  std::string names;
  for (auto& roll : all) {
    if (roll.name == name) return std::move(roll);
    names += (names.empty() ? "" : ", ") + shown(roll.name);
  }
  if (names.empty())
    return fail(Code::not_found, fmt::format("there is no roll {}: no card was offloaded yet", shown(name)));
  return fail(Code::not_found, fmt::format("there is no roll {}: there are {}", shown(name), names));
}

Result<std::vector<RollSummary>> Reader::roll_summaries() const {
  MutexLock lock(mu_);
  const auto state = TRY(Transaction::begin(db_, Transaction::Mode::read));
  auto rolls = TRY(summarise_rolls(db_));
  TRY(add_copies(db_, rolls));
  for (auto& roll : rolls) roll.problems = TRY(read_problems(db_, roll.roll.id));
  return rolls;
}

Result<std::vector<Problem>> Reader::problems_of(RollId roll) const {
  MutexLock lock(mu_);
  return read_problems(db_, roll);
}

Result<std::vector<FileRow>> Reader::files_of_card(const std::string& card) const {
  std::vector<FileRow> files;
  MutexLock lock(mu_);
  TRY(for_each_file(
      db_, [&](FileRow&& file) { files.push_back(std::move(file)); }, "roll.card = ?", card));
  return files;
}

Result<std::vector<FileRow>> Reader::files_of_roll(RollId roll) const {
  std::vector<FileRow> files;
  TRY(for_each_file_of_roll(roll, [&](FileRow&& file) { files.push_back(std::move(file)); }));
  return files;
}

Result<void> Reader::for_each_file_of_roll(RollId roll, const std::function<void(FileRow&&)>& take) const {
  MutexLock lock(mu_);
  return for_each_file(db_, take, "roll.id = ?", roll);
}

Result<std::vector<FileRow>> Reader::files_of_size(std::uint64_t size) const {
  std::vector<FileRow> files;
  MutexLock lock(mu_);
  TRY(for_each_file(
      db_, [&](FileRow&& file) { files.push_back(std::move(file)); }, "file.size = ? AND file.digest IS NOT NULL",
      size));
  return files;
}

Result<std::vector<FileRow>> Reader::files_met_at(const std::string& card) const {
  std::vector<FileRow> files;
  MutexLock lock(mu_);
  TRY(for_each_file(
      db_, [&](FileRow&& file) { files.push_back(std::move(file)); },
      "file.id IN (SELECT sighting.file_id FROM sighting WHERE sighting.card = ?)", card));
  return files;
}

Result<std::vector<Sighting>> Reader::sightings_of_card(const std::string& card) const {
  MutexLock lock(mu_);
  return db_.all(
      "SELECT file_id, sighting.path, file.size, sighting.mtime_ns, sighting.seen_at"
      " FROM sighting"
      " JOIN file ON file.id = file_id"
      " WHERE card = ?"
      " ORDER BY file_id",
      [](Statement& row) {
        Sighting sighting;
        sighting.file = row.next<FileId>();
        sighting.as.path = row.next<Path>();
        sighting.as.size = row.next<std::uint64_t>();
        sighting.as.mtime = row.next<FileTime>();
        sighting.seen_at = row.next<Instant>();
        return sighting;
      },
      card);
}

Result<std::string> Reader::id() const {
  MutexLock lock(mu_);
  return TRY(db_.one<std::string>("SELECT id FROM identity")).value_or("");
}

Result<std::optional<Micros>> Reader::length_of_song(const Path& file, std::uint64_t size, FileTime mtime) const {
  MutexLock lock(mu_);
  return db_.one<Micros>("SELECT length_us FROM song_length WHERE file = ? AND size = ? AND mtime_ns = ?", file, size,
                         mtime);
}

Result<bool> Reader::has_stamp(const std::string& stamp) const {
  MutexLock lock(mu_);
  return TRY(db_.one<std::int64_t>("SELECT 1 FROM kept WHERE stamp = ?", stamp)).has_value();
}

Result<std::vector<DestinationRow>> Reader::destinations() const {
  MutexLock lock(mu_);
  return db_.all("SELECT id, name, path, disk, fs_uuid, mark, home FROM destination ORDER BY id", read_destination);
}

Result<std::vector<Path>> Reader::homes_at(DestinationId destination) const {
  MutexLock lock(mu_);
  return db_.all(
      "SELECT DISTINCT substr(stored_path, 1, instr(stored_path, x'2f') - 1)"
      " FROM copy"
      " WHERE destination_id = ? AND state IN ('copied', 'verified')",
      [](Statement& row) { return row.next<Path>(); }, destination);
}

Result<std::vector<CardInHand>> Reader::cards_in_hand() const {
  MutexLock lock(mu_);
  const auto state = TRY(Transaction::begin(db_, Transaction::Mode::read));
  std::vector<CardInHand> cards;
  auto leases = TRY(db_.prepare("SELECT card, pid, boot, born, since FROM lease WHERE card != ? ORDER BY since"));
  TRY(leases.bind(kNotesBesideTheRolls));
  while (TRY(leases.step())) {
    const auto card = leases.next<std::string>();
    CardInHand each;
    each.holder.pid = leases.next<std::int64_t>();
    each.holder.boot = leases.next<std::string>();
    each.holder.born = leases.next<std::int64_t>();
    each.since = leases.next<Instant>();
    each.rolls = TRY(db_.all(
        "SELECT name FROM roll WHERE card = ? ORDER BY id", [](Statement& row) { return row.next<std::string>(); },
        card));
    cards.push_back(std::move(each));
  }
  return cards;
}

Result<Snapshot> Reader::snapshot() const {
  MutexLock lock(mu_);
  return db_.snapshot();
}

Result<void> Reader::check() const {
  MutexLock lock(mu_);
  const auto state = TRY(Transaction::begin(db_, Transaction::Mode::read));
  const auto verdict = TRY(db_.one<std::string>("PRAGMA integrity_check(1)"));
  if (verdict != "ok") return tl::unexpected(damaged_catalogue(verdict.value_or("")));
  const auto orphan = TRY(db_.one<std::string>("PRAGMA foreign_key_check"));
  if (orphan) return tl::unexpected(damaged_catalogue(fmt::format("a row of \"{}\" points nowhere", *orphan)));
  return {};
}

}  // namespace everytake::catalogue
