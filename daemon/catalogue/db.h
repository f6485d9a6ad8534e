// SQLite, and nothing of everytake's: a connection, prepared statements, transactions. The only way to sqlite3.h.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <tuple>
#include <vector>

#include "base/fs.h"
#include "base/result.h"

struct sqlite3;
struct sqlite3_stmt;

namespace everytake {

// Bytes that are no text: paths.
struct Blob {
  std::string bytes;
};

class Db;

// A prepared statement. Used by one thread at a time; outlived by its Db.
class Statement {
 public:
  Statement(Statement&& other) noexcept : statement_(std::exchange(other.statement_, nullptr)) {}
  ~Statement();

  // Binds parameters ?1, ?2 … in order: integers, double, text, Blob, optional of these, nullptr.
  template <class... Values>
  Statement& bind(const Values&... values) {
    reset();
    int index = 0;
    (bind_one(++index, values), ...);
    return *this;
  }

  Result<bool> step();  // true while there is a row
  Result<void> run();   // to its end; rows are of no interest

  // Columns of the row that step() stands on, counted from 0.
  bool is_null(int column) const;
  std::int64_t integer(int column) const;
  double real(int column) const;
  std::string text(int column) const;  // of a BLOB: its bytes
  std::optional<std::int64_t> maybe_integer(int column) const;
  std::optional<double> maybe_real(int column) const;
  std::optional<std::string> maybe_text(int column) const;

 private:
  friend class Db;
  explicit Statement(sqlite3_stmt* statement) : statement_(statement) {}
  void reset();
  void bind_one(int index, std::int64_t value);
  void bind_one(int index, int value) { bind_one(index, std::int64_t{value}); }
  void bind_one(int index, bool value) { bind_one(index, std::int64_t{value}); }
  void bind_one(int index, double value);
  void bind_one(int index, std::string_view value);
  void bind_one(int index, const std::string& value) { bind_one(index, std::string_view(value)); }
  void bind_one(int index, const char* value) { bind_one(index, std::string_view(value)); }
  void bind_one(int index, const Blob& value);
  void bind_one(int index, std::nullptr_t);
  template <class T>
  void bind_one(int index, const std::optional<T>& value) {
    if (value)
      bind_one(index, *value);
    else
      bind_one(index, nullptr);
  }

  sqlite3_stmt* statement_;
};

class Db {
 public:
  // Opens or makes the file, with the settings everything relies on: rollback journal, full sync, foreign keys, and
  // waiting up to 30 s for another process. `corrupt` when it is no database. `vfs`: SQLite's name of the file layer.
  static Result<Db> open(const Path& file, const char* vfs = nullptr);
  Db(Db&& other) noexcept : db_(std::exchange(other.db_, nullptr)) {}
  ~Db();

  Result<Statement> prepare(std::string_view sql);
  // One statement that gives no rows, with its parameters.
  template <class... Values>
  Result<void> run(std::string_view sql, const Values&... values) {
    return TRY(prepare(sql)).bind(values...).run();
  }
  Result<void> execute(const std::string& sql);  // one or more statements without parameters
  std::int64_t last_row() const;                 // id of the row inserted last
  std::int64_t changes() const;                  // rows the last statement changed

 private:
  explicit Db(sqlite3* db) : db_(db) {}
  sqlite3* db_;
};

// Everything until commit(), or nothing.
class Transaction {
 public:
  static Result<Transaction> begin(Db& db);
  Transaction(Transaction&& other) noexcept : db_(std::exchange(other.db_, nullptr)) {}
  ~Transaction();  // rolls back what was not committed
  Result<void> commit();

 private:
  explicit Transaction(Db& db) : db_(&db) {}
  Db* db_;
};

}  // namespace everytake
