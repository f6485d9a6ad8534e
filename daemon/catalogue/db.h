// SQLite as values: the only place that knows sqlite3.h. Failures come back as Errors whose `number` is SQLite's
// extended result code. A Db and its statements are used by one thread at a time.
//
// Nobody in the process may open and close the database's file in another way while a Db holds it: POSIX drops a
// process's locks on a file with the first descriptor closed (sqlite.org/howtocorrupt.html, 2.2).
#pragma once

#include <chrono>
#include <concepts>
#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <type_traits>
#include <utility>
#include <vector>

#include "base/result.h"
#include "model.h"
#include "os/fs.h"

struct sqlite3;
struct sqlite3_stmt;

namespace everytake::catalogue {

// Bytes to bind as a BLOB; text is bound as TEXT.
struct Blob {
  std::string_view bytes;
};

// What to say, and to do, of a file whose bytes make no sound catalogue.
Error damaged_catalogue(std::string_view why, int number = 0);

class StatementCache;

// Lives no longer than its Db.
class Statement {
 public:
  // Binds all parameters, in order. What text and blobs point to must live until the statement is done.
  template <class... Values>
  Result<void> bind(const Values&... values) {
    start();
    int place = 0;
    (put(++place, values), ...);
    return bound(place);
  }

  // Goes to the next row; false when there is none.
  Result<bool> step();

  // Binds and steps to the end.
  template <class... Values>
  Result<void> run(const Values&... values) {
    TRY(bind(values...));
    while (TRY(step())) {
    }
    return {};
  }

  // The next column of this row, from the left. Ids, times, paths and strings are read as they are bound; NULL is
  // 0 or empty where T is not an optional. A digest is always one: what has not its length is none.
  template <class T>
  T next() {
    T value{};
    get(next_column_++, value);
    return value;
  }

 private:
  friend class Db;
  // Gives the statement back to be used again.
  struct GiveBack {
    void operator()(sqlite3_stmt* statement) const;
    StatementCache* cache;
  };
  Statement(sqlite3_stmt* statement, StatementCache& cache) : statement_(statement, GiveBack{&cache}) {}

  template <std::integral T>
  void get(int column, T& value) const {
    value = static_cast<T>(int_at(column));
  }
  template <class Tag>
  void get(int column, Id<Tag>& id) const {
    id.value = int_at(column);
  }
  template <class Clock, class Duration>
  void get(int column, std::chrono::time_point<Clock, Duration>& time) const {
    time = std::chrono::time_point<Clock, Duration>(Duration(int_at(column)));
  }
  template <class T>
  void get(int column, std::optional<T>& value) const {
    if (!is_null(column)) get(column, value.emplace());
  }
  void get(int column, std::optional<Digest>& digest) const { digest = Digest::from_raw(bytes_at(column)); }
  void get(int column, Micros& time) const { time = Micros(int_at(column)); }
  void get(int column, double& value) const { value = double_at(column); }
  void get(int column, Path& path) const { path = bytes_at(column); }
  void get(int column, std::string& bytes) const { bytes = bytes_at(column); }

  template <std::integral T>
  void put(int place, T value) {
    put_int(place, static_cast<std::int64_t>(value));
  }
  template <class Tag>
  void put(int place, Id<Tag> id) {
    put_int(place, id.value);
  }
  template <class Clock, class Duration>
  void put(int place, std::chrono::time_point<Clock, Duration> time) {
    put_int(place, time.time_since_epoch().count());
  }
  template <class T>
  void put(int place, const std::optional<T>& value) {
    if (value)
      put(place, *value);
    else
      put_null(place);
  }
  void put(int place, Micros time) { put_int(place, time.count()); }
  void put(int place, double value) { put_double(place, value); }
  void put(int place, const Path& path) { put_blob(place, path.native()); }
  void put(int place, const Digest& digest) { put_blob(place, digest.raw()); }
  void put(int place, Blob blob) { put_blob(place, blob.bytes); }
  void put(int place, std::string_view text) { put_text(place, text); }
  void put(int place, const std::string& text) { put_text(place, text); }
  void put(int place, const char* text) { put_text(place, text); }

  void start();
  Result<void> bound(int count);
  void put_null(int place);
  void put_int(int place, std::int64_t value);
  void put_double(int place, double value);
  void put_text(int place, std::string_view text);
  void put_blob(int place, std::string_view bytes);
  bool is_null(int column) const;
  std::int64_t int_at(int column) const;
  double double_at(int column) const;
  std::string bytes_at(int column) const;

  std::unique_ptr<sqlite3_stmt, GiveBack> statement_;
  int next_column_ = 0;
  int bind_error_ = 0;  // the first code that was not OK
};

// The bytes of a database file.
class Snapshot {
 public:
  Snapshot(std::shared_ptr<const char> bytes, std::size_t size) : bytes_(std::move(bytes)), size_(size) {}
  std::string_view bytes() const { return {bytes_.get(), size_}; }

 private:
  std::shared_ptr<const char> bytes_;
  std::size_t size_;
};

class Db {
 public:
  Db(Db&&) noexcept;
  Db& operator=(Db&&) noexcept;
  ~Db();

  struct Options {
    std::string vfs{};  // SQLite's name of the layer that does its file operations; empty is the system's
    std::chrono::milliseconds busy_timeout = std::chrono::seconds(75);  // far longer than any transaction here
    bool create = true;
    bool in_memory = false;  // a database of its own, gone when closed; the file is not looked at
  };
  // Opens with journal_mode=TRUNCATE (3.40's write-ahead log can corrupt with several connections), synchronous=FULL
  // and foreign_keys=ON. `invalid` when the file is no database, `busy` when another connection keeps it locked.
  static Result<Db> open(const Path& file, const Options& options);

  // A statement of the same text that was given back is used again.
  Result<Statement> prepare(std::string_view sql);

  // Prepares, binds and runs one statement.
  template <class... Values>
  Result<void> run(std::string_view sql, const Values&... values) {
    return TRY(prepare(sql)).run(values...);
  }

  // One value a row, read by `read(Statement&)`.
  template <class Read, class... Values>
  auto all(std::string_view sql, Read read, const Values&... values)
      -> Result<std::vector<std::invoke_result_t<Read, Statement&>>> {
    auto statement = TRY(prepare(sql));
    TRY(statement.bind(values...));
    std::vector<std::invoke_result_t<Read, Statement&>> rows;
    while (TRY(statement.step())) rows.push_back(read(statement));
    return rows;
  }

  // The first column of the first row; nullopt without a row.
  template <class T, class... Values>
  Result<std::optional<T>> one(std::string_view sql, const Values&... values) {
    auto statement = TRY(prepare(sql));
    TRY(statement.bind(values...));
    if (!TRY(statement.step())) return std::nullopt;
    return statement.next<T>();
  }

  // Several statements separated by semicolons, without parameters.
  Result<void> script(const std::string& sql);

  // The whole database as the bytes of a file: one state of it, by SQLite's online backup.
  Result<Snapshot> snapshot();

  std::int64_t last_row() const;  // the row number of the last INSERT
  std::int64_t changes() const;   // rows the last INSERT, UPDATE or DELETE touched

 private:
  friend class Transaction;
  struct Closer {
    void operator()(sqlite3* db) const;
  };
  explicit Db(sqlite3* db);
  Result<void> configure(const Options& options);

  std::unique_ptr<sqlite3, Closer> db_;
  std::unique_ptr<StatementCache> cache_;  // closed before db_
};

// All or nothing. Rolled back unless commit() succeeded.
class [[nodiscard]] Transaction {
 public:
  enum class Mode {
    read,   // one state of the catalogue for several queries
    write,  // the right to write is had from the start, or `busy`
  };
  static Result<Transaction> begin(Db& db, Mode mode = Mode::write);
  Transaction(Transaction&& other) noexcept : db_(std::exchange(other.db_, nullptr)) {}
  Transaction& operator=(Transaction&&) = delete;
  ~Transaction();

  // Durable when it returns without an error.
  Result<void> commit();

 private:
  explicit Transaction(Db& db) : db_(&db) {}
  Db* db_;  // nullptr once committed
};

}  // namespace everytake::catalogue
