#include "catalogue/db.h"

#include <fmt/format.h>
#include <sqlite3.h>

#include <map>
#include <new>

#include "base/text.h"
#include "os/system_error.h"

namespace everytake::catalogue {
namespace {

constexpr auto kSnapshotPatience = std::chrono::seconds(75);  // as for any other transaction

// The one table from SQLite's codes to ours.
Code code_of_sqlite(int extended, int system_number) {
  switch (extended) {
    case SQLITE_CONSTRAINT_UNIQUE:
    case SQLITE_CONSTRAINT_PRIMARYKEY:
    case SQLITE_CONSTRAINT_ROWID:
      return Code::exists;
    case SQLITE_CONSTRAINT_FOREIGNKEY:
      return Code::not_found;
    case SQLITE_READONLY_DBMOVED:
      return Code::gone;
    default:
      break;
  }
  switch (extended & 0xff) {
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
      return Code::busy;
    case SQLITE_FULL:
      return Code::no_space;
    case SQLITE_PERM:
    case SQLITE_READONLY:
    case SQLITE_AUTH:
      return Code::denied;
    case SQLITE_CANTOPEN:
    case SQLITE_IOERR:
      return system_number ? code_of_errno(system_number) : Code::io;
    case SQLITE_INTERRUPT:
      return Code::cancelled;
    case SQLITE_NOMEM:
    case SQLITE_PROTOCOL:
      return Code::io;
    default:
      return Code::invalid;
  }
}

Error error_of(sqlite3* db) {
  const int extended = sqlite3_extended_errcode(db);
  const int system_number = sqlite3_system_errno(db);
  const auto code = code_of_sqlite(extended, system_number);
  const int kind = extended & 0xff;
  if (kind == SQLITE_CORRUPT || kind == SQLITE_NOTADB || kind == SQLITE_FORMAT)
    return damaged_catalogue(sqlite3_errmsg(db), extended);
  switch (code) {
    case Code::busy:
      return {code, "another process keeps the catalogue locked: try again when it is done", extended};
    case Code::no_space:
      return {code, "the disk that holds the catalogue is full: free some room", extended};
    default:
      return {code, fmt::format("catalogue: {}", shown(sqlite3_errmsg(db))), extended};
  }
}

}  // namespace

Error damaged_catalogue(std::string_view why, int number) {
  return {Code::invalid,
          fmt::format("the catalogue is damaged ({}): move it aside, then make it anew from a destination with "
                      "\"everytake rebuild\"; until then wipe no card",
                      shown(why)),
          number};
}

// Statements that are in nobody's hands, by their text.
class StatementCache {
 public:
  StatementCache() = default;
  StatementCache(const StatementCache&) = delete;
  StatementCache& operator=(const StatementCache&) = delete;
  ~StatementCache() {
    for (const auto& [sql, statement] : idle_) sqlite3_finalize(statement);
  }

  // nullptr where there is none.
  sqlite3_stmt* take(std::string_view sql) {
    const auto found = idle_.find(sql);
    return found == idle_.end() ? nullptr : idle_.extract(found).mapped();
  }

  // Ends what the statement reads and forgets what was bound to it.
  void give_back(sqlite3_stmt* statement) noexcept try {
    sqlite3_reset(statement);
    sqlite3_clear_bindings(statement);
    const bool is_kept = idle_.size() < kMost && idle_.emplace(sqlite3_sql(statement), statement).second;
    if (!is_kept) sqlite3_finalize(statement);
  } catch (...) {
    sqlite3_finalize(statement);
  }

 private:
  static constexpr std::size_t kMost = 64;
  std::map<std::string, sqlite3_stmt*, std::less<>> idle_;
};

// ---- Statement ----------------------------------------------------------------------------------------------------

void Statement::GiveBack::operator()(sqlite3_stmt* statement) const {
  cache->give_back(statement);
}

void Statement::start() {
  sqlite3_reset(statement_.get());  // its code is that of the last step, which was told already
  bind_error_ = SQLITE_OK;
}

Result<void> Statement::bound(int count) {
  if (bind_error_ != SQLITE_OK) return tl::unexpected(error_of(sqlite3_db_handle(statement_.get())));
  if (count != sqlite3_bind_parameter_count(statement_.get()))
    return fail(Code::invalid, fmt::format("{} values for: {}", count, sqlite3_sql(statement_.get())));
  return {};
}

Result<bool> Statement::step() {
  next_column_ = 0;
  const int code = sqlite3_step(statement_.get());
  if (code == SQLITE_ROW) return true;
  if (code == SQLITE_DONE) return false;
  auto error = error_of(sqlite3_db_handle(statement_.get()));
  sqlite3_reset(statement_.get());
  return tl::unexpected(std::move(error));
}

void Statement::put_null(int place) {
  if (const int code = sqlite3_bind_null(statement_.get(), place); code != SQLITE_OK) bind_error_ = code;
}

void Statement::put_int(int place, std::int64_t value) {
  if (const int code = sqlite3_bind_int64(statement_.get(), place, value); code != SQLITE_OK) bind_error_ = code;
}

void Statement::put_double(int place, double value) {
  if (const int code = sqlite3_bind_double(statement_.get(), place, value); code != SQLITE_OK) bind_error_ = code;
}

// A null pointer would bind NULL, so empty values point somewhere.
void Statement::put_text(int place, std::string_view text) {
  const char* data = text.empty() ? "" : text.data();
  const int code = sqlite3_bind_text64(statement_.get(), place, data, text.size(), SQLITE_STATIC, SQLITE_UTF8);
  if (code != SQLITE_OK) bind_error_ = code;
}

void Statement::put_blob(int place, std::string_view bytes) {
  const char* data = bytes.empty() ? "" : bytes.data();
  const int code = sqlite3_bind_blob64(statement_.get(), place, data, bytes.size(), SQLITE_STATIC);
  if (code != SQLITE_OK) bind_error_ = code;
}

bool Statement::is_null(int column) const {
  return sqlite3_column_type(statement_.get(), column) == SQLITE_NULL;
}

std::int64_t Statement::int_at(int column) const {
  return sqlite3_column_int64(statement_.get(), column);
}

double Statement::double_at(int column) const {
  return sqlite3_column_double(statement_.get(), column);
}

std::string Statement::bytes_at(int column) const {
  const auto* data = static_cast<const char*>(sqlite3_column_blob(statement_.get(), column));
  const auto size = static_cast<std::size_t>(sqlite3_column_bytes(statement_.get(), column));
  // Out of memory looks like an empty value; an unread name must not pass for one.
  if (!data && sqlite3_errcode(sqlite3_db_handle(statement_.get())) == SQLITE_NOMEM) throw std::bad_alloc();
  return data ? std::string(data, size) : std::string();
}

// ---- Db -----------------------------------------------------------------------------------------------------------

void Db::Closer::operator()(sqlite3* db) const {
  sqlite3_close_v2(db);
}

Db::Db(sqlite3* db) : db_(db), cache_(std::make_unique<StatementCache>()) {}
Db::Db(Db&&) noexcept = default;
Db& Db::operator=(Db&&) noexcept = default;
Db::~Db() = default;

Result<Db> Db::open(const Path& file, const Options& options) {
  sqlite3* raw = nullptr;
  const int flags =
      SQLITE_OPEN_READWRITE | SQLITE_OPEN_NOMUTEX | SQLITE_OPEN_EXRESCODE | (options.create ? SQLITE_OPEN_CREATE : 0);
  const auto* name = options.in_memory ? ":memory:" : file.c_str();
  const int code = sqlite3_open_v2(name, &raw, flags, options.vfs.empty() ? nullptr : options.vfs.c_str());
  if (!raw) throw std::bad_alloc();
  Db db(raw);
  if (code != SQLITE_OK) return tl::unexpected(within(shown(file.string()), error_of(raw)));
  if (auto done = db.configure(options); !done)
    return tl::unexpected(within(shown(file.string()), std::move(done.error())));
  return db;
}

Result<void> Db::configure(const Options& options) {
  sqlite3_busy_timeout(db_.get(), static_cast<int>(options.busy_timeout.count()));
  sqlite3_db_config(db_.get(), SQLITE_DBCONFIG_DEFENSIVE, 1, nullptr);
  sqlite3_db_config(db_.get(), SQLITE_DBCONFIG_TRUSTED_SCHEMA, 0, nullptr);
  const auto journal = TRY(one<std::string>("PRAGMA journal_mode = TRUNCATE"));
  if (journal != "truncate" && !options.in_memory)
    return fail(Code::unsupported, fmt::format("the journal can't be kept as a file here (mode \"{}\")", *journal));
  return script(
      "PRAGMA synchronous = FULL;"
      "PRAGMA foreign_keys = ON;"
      "PRAGMA cell_size_check = ON");
}

Result<Statement> Db::prepare(std::string_view sql) {
  if (auto* kept = cache_->take(sql)) return Statement(kept, *cache_);
  sqlite3_stmt* raw = nullptr;
  const int code = sqlite3_prepare_v2(db_.get(), sql.data(), static_cast<int>(sql.size()), &raw, nullptr);
  if (code != SQLITE_OK) return tl::unexpected(error_of(db_.get()));
  return Statement(raw, *cache_);
}

Result<void> Db::script(const std::string& sql) {
  if (sqlite3_exec(db_.get(), sql.c_str(), nullptr, nullptr, nullptr) != SQLITE_OK)
    return tl::unexpected(error_of(db_.get()));
  return {};
}

Result<Snapshot> Db::snapshot() {
  sqlite3* raw = nullptr;
  const int opened = sqlite3_open_v2(":memory:", &raw, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE, nullptr);
  const std::unique_ptr<sqlite3, Closer> memory(raw);
  if (!raw) throw std::bad_alloc();
  if (opened != SQLITE_OK) return tl::unexpected(error_of(raw));
  sqlite3_backup* backup = sqlite3_backup_init(raw, "main", db_.get(), "main");
  if (!backup) return tl::unexpected(error_of(raw));
  int step = SQLITE_OK;
  const auto ends = std::chrono::steady_clock::now() + kSnapshotPatience;
  do {
    step = sqlite3_backup_step(backup, -1);
    if (step == SQLITE_BUSY || step == SQLITE_LOCKED) sqlite3_sleep(20);
  } while ((step == SQLITE_BUSY || step == SQLITE_LOCKED) && std::chrono::steady_clock::now() < ends);
  sqlite3_backup_finish(backup);
  if (step != SQLITE_DONE)
    return fail(step == SQLITE_BUSY || step == SQLITE_LOCKED ? Code::busy : code_of_sqlite(step, 0),
                fmt::format("catalogue: it can't be copied: {}", sqlite3_errstr(step)), step);
  sqlite3_int64 size = 0;
  const std::shared_ptr<unsigned char> bytes(sqlite3_serialize(raw, "main", &size, 0), &sqlite3_free);
  if (!bytes) throw std::bad_alloc();
  return Snapshot({bytes, reinterpret_cast<const char*>(bytes.get())}, static_cast<std::size_t>(size));
}

std::int64_t Db::last_row() const {
  return sqlite3_last_insert_rowid(db_.get());
}

std::int64_t Db::changes() const {
  return sqlite3_changes64(db_.get());
}

// ---- Transaction --------------------------------------------------------------------------------------------------

Result<Transaction> Transaction::begin(Db& db, Mode mode) {
  TRY(db.script(mode == Mode::write ? "BEGIN IMMEDIATE" : "BEGIN"));
  return Transaction(db);
}

Result<void> Transaction::commit() {
  TRY(db_->script("COMMIT"));
  db_ = nullptr;
  return {};
}

Transaction::~Transaction() {
  // After some errors SQLite has rolled back by itself, and there is nothing open any more.
  if (db_ && !sqlite3_get_autocommit(db_->db_.get()))
    sqlite3_exec(db_->db_.get(), "ROLLBACK", nullptr, nullptr, nullptr);
}

}  // namespace everytake::catalogue
