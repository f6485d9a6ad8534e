#include "catalogue/db.h"

#include <sqlite3.h>

namespace everytake {
namespace {

constexpr int kBusyMillis = 30'000;  // a card's commit takes milliseconds; a stuck process should show in the end

Code code_of(int sqlite) {
  switch (sqlite & 0xff) {
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
      return Code::busy;
    case SQLITE_FULL:
      return Code::no_space;
    case SQLITE_READONLY:
    case SQLITE_PERM:
    case SQLITE_AUTH:
      return Code::denied;
    case SQLITE_CORRUPT:
    case SQLITE_NOTADB:
      return Code::corrupt;
    case SQLITE_CANTOPEN:
      return Code::not_found;
    case SQLITE_CONSTRAINT:
    case SQLITE_MISMATCH:
      return Code::invalid;
    default:
      return Code::io;
  }
}

tl::unexpected<Error> failed(sqlite3* db) {
  const int number = sqlite3_extended_errcode(db);
  return fail(code_of(number), std::string("catalogue: ") + sqlite3_errmsg(db), number);
}

}  // namespace

Statement::~Statement() {
  sqlite3_finalize(statement_);
}

void Statement::reset() {
  sqlite3_reset(statement_);
  sqlite3_clear_bindings(statement_);
}

void Statement::bind_one(int index, std::int64_t value) {
  sqlite3_bind_int64(statement_, index, value);
}
void Statement::bind_one(int index, double value) {
  sqlite3_bind_double(statement_, index, value);
}
void Statement::bind_one(int index, std::nullptr_t) {
  sqlite3_bind_null(statement_, index);
}
void Statement::bind_one(int index, std::string_view value) {
  sqlite3_bind_text64(statement_, index, value.data(), value.size(), SQLITE_TRANSIENT, SQLITE_UTF8);
}
void Statement::bind_one(int index, const Blob& value) {
  // An empty std::string's data is no null pointer, so this is an empty blob and not NULL.
  sqlite3_bind_blob64(statement_, index, value.bytes.data(), value.bytes.size(), SQLITE_TRANSIENT);
}

Result<bool> Statement::step() {
  switch (sqlite3_step(statement_)) {
    case SQLITE_ROW:
      return true;
    case SQLITE_DONE:
      return false;
    default:
      return failed(sqlite3_db_handle(statement_));
  }
}

Result<void> Statement::run() {
  while (TRY(step())) {
  }
  sqlite3_reset(statement_);
  return {};
}

bool Statement::is_null(int column) const {
  return sqlite3_column_type(statement_, column) == SQLITE_NULL;
}
std::int64_t Statement::integer(int column) const {
  return sqlite3_column_int64(statement_, column);
}
double Statement::real(int column) const {
  return sqlite3_column_double(statement_, column);
}

std::string Statement::text(int column) const {
  const auto* bytes = static_cast<const char*>(sqlite3_column_blob(statement_, column));
  const int size = sqlite3_column_bytes(statement_, column);
  return bytes ? std::string(bytes, static_cast<std::size_t>(size)) : std::string();
}

std::optional<std::int64_t> Statement::maybe_integer(int column) const {
  return is_null(column) ? std::nullopt : std::optional(integer(column));
}

std::optional<double> Statement::maybe_real(int column) const {
  return is_null(column) ? std::nullopt : std::optional(real(column));
}

std::optional<std::string> Statement::maybe_text(int column) const {
  return is_null(column) ? std::nullopt : std::optional(text(column));
}

Result<Db> Db::open(const Path& file, const char* vfs) {
  sqlite3* raw = nullptr;
  constexpr int kFlags = SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE | SQLITE_OPEN_NOMUTEX;
  const int opened = sqlite3_open_v2(file.c_str(), &raw, kFlags, vfs);
  Db db(raw);
  if (opened != SQLITE_OK) {
    auto error = failed(raw);
    return tl::unexpected(within(file.string(), error.value()));
  }
  sqlite3_extended_result_codes(raw, 1);
  sqlite3_busy_timeout(raw, kBusyMillis);
  // Debian's SQLite 3.40 has a known, rare defect of WAL with several connections: the rollback journal it is.
  TRY(
      db.execute("PRAGMA journal_mode = TRUNCATE;"
                 "PRAGMA synchronous = FULL;"
                 "PRAGMA foreign_keys = ON;"
                 "PRAGMA trusted_schema = OFF;"));
  return db;
}

Db::~Db() {
  sqlite3_close(db_);
}

Result<Statement> Db::prepare(std::string_view sql) {
  sqlite3_stmt* statement = nullptr;
  if (sqlite3_prepare_v2(db_, sql.data(), static_cast<int>(sql.size()), &statement, nullptr) != SQLITE_OK)
    return failed(db_);
  return Statement(statement);
}

Result<void> Db::execute(const std::string& sql) {
  if (sqlite3_exec(db_, sql.c_str(), nullptr, nullptr, nullptr) != SQLITE_OK) return failed(db_);
  return {};
}

std::int64_t Db::last_row() const {
  return sqlite3_last_insert_rowid(db_);
}
std::int64_t Db::changes() const {
  return sqlite3_changes64(db_);
}

Result<Transaction> Transaction::begin(Db& db) {
  TRY(db.execute("BEGIN IMMEDIATE"));
  return Transaction(db);
}

Transaction::~Transaction() {
  if (db_) (void)db_->execute("ROLLBACK");
}

Result<void> Transaction::commit() {
  TRY(db_->execute("COMMIT"));
  db_ = nullptr;
  return {};
}

}  // namespace everytake
