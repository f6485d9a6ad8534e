// Catalogue: what a new catalogue is made of when the old one is lost.
#include "catalogue/catalogue.h"
#include "catalogue/columns.h"

namespace everytake::catalogue {
namespace {

Result<RollId> roll_of(Db& db, const Roll& roll) {
  if (const auto known = TRY(db.one<RollId>("SELECT id FROM roll WHERE name = ?", roll.name))) return *known;
  TRY(
      db.run("INSERT INTO roll (name, opened_at, card, card_root, card_label, card_uuid, identity)"
             " VALUES (?, ?, ?, ?, ?, ?, ?)",
             roll.name, roll.opened_at, roll.card, roll.card_root, roll.card_label, roll.card_uuid, roll.identity));
  return RollId{db.last_row()};
}

}  // namespace

Result<void> Catalogue::distrust_copies() {
  MutexLock lock(mu_);
  auto transaction = TRY(Transaction::begin(db_));
  TRY(
      db_.run("UPDATE copy"
              " SET state = 'copied', readback = NULL, verified_at = NULL, size = NULL, mtime_ns = NULL,"
              " ctime_ns = NULL, inode = NULL, digest = NULL"
              " WHERE state = 'verified'"));
  TRY(db_.run("DELETE FROM lease"));
  return transaction.commit();
}

Result<std::size_t> Catalogue::restore_roll(const Roll& roll, std::span<const RestoredFile> files,
                                            DestinationId destination) {
  MutexLock lock(mu_);
  auto transaction = TRY(Transaction::begin(db_));
  const auto id = TRY(roll_of(db_, roll));
  auto add =
      TRY(db_.prepare("INSERT INTO file (roll_id, path, size, mtime_ns, digest, seen_at) VALUES (?, ?, ?, ?, ?, ?)"
                      " ON CONFLICT (roll_id, path) DO UPDATE"
                      " SET digest = coalesce(digest, excluded.digest)"));
  auto find = TRY(db_.prepare("SELECT id, digest FROM file WHERE roll_id = ? AND path = ?"));
  auto copy =
      TRY(db_.prepare("INSERT INTO copy (file_id, destination_id, state, stored_path) VALUES (?, ?, 'copied', ?)"
                      " ON CONFLICT (file_id, destination_id) DO NOTHING"));
  std::size_t differing = 0;
  for (const auto& file : files) {
    TRY(add.run(id, file.file.path, file.file.size, file.file.mtime, file.digest, roll.opened_at));
    TRY(find.bind(id, file.file.path));
    TRY(find.step());
    const auto row = find.next<FileId>();
    if (find.next<std::optional<Digest>>() != file.digest) ++differing;
    TRY(find.step());  // to its end: it must not be open at the commit
    TRY(copy.run(row, destination, file.stored));
  }
  TRY(transaction.commit());
  return differing;
}

}  // namespace everytake::catalogue
