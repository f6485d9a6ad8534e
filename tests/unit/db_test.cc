#include "catalogue/db.h"

#include <gtest/gtest.h>

#include "support/rooms.h"
#include "support/shoot_rows.h"

namespace everytake {
namespace {

using namespace std::chrono_literals;
using test::must;

class Database : public testing::Test {
 protected:
  Path file() const { return dir_ / "x.sqlite"; }
  Db open(std::chrono::milliseconds busy_timeout = 10s) const {
    return must(Db::open(file(), {.busy_timeout = busy_timeout}));
  }
  Db with_table() const {
    auto db = open();
    must(
        db.script("CREATE TABLE t (i INTEGER PRIMARY KEY, d REAL, s TEXT UNIQUE, b BLOB) STRICT;"
                  "CREATE TABLE u (t INTEGER NOT NULL REFERENCES t(i)) STRICT"));
    return db;
  }
  static std::int64_t rows(Db& db) { return must(db.one<std::int64_t>("SELECT count(*) FROM t")).value(); }

 private:
  const test::TempDir dir_;
};

TEST_F(Database, GivesBackEveryTypeAsItWasBound) {
  auto db = with_table();
  const std::string odd("\x00\xff\n'", 4);
  must(db.run("INSERT INTO t VALUES (?, ?, ?, ?)", INT64_MIN, 0.1, "caf\xc3\xa9", Blob{odd}));
  must(db.run("INSERT INTO t VALUES (?, ?, ?, ?)", 2, std::optional<double>(), std::string(), Path("a\xfe/b")));
  auto rows = must(db.prepare("SELECT * FROM t ORDER BY i"));
  must(rows.bind());
  ASSERT_TRUE(must(rows.step()));
  EXPECT_EQ(rows.next<std::int64_t>(), INT64_MIN);
  EXPECT_EQ(rows.next<double>(), 0.1);
  EXPECT_EQ(rows.next<std::string>(), "caf\xc3\xa9");
  EXPECT_EQ(rows.next<std::string>(), odd);
  ASSERT_TRUE(must(rows.step()));
  EXPECT_EQ(rows.next<std::int64_t>(), 2);
  EXPECT_EQ(rows.next<std::optional<double>>(), std::nullopt);
  EXPECT_EQ(rows.next<std::optional<std::string>>(), "");  // empty is not NULL
  EXPECT_EQ(rows.next<Path>(), Path("a\xfe/b"));
  EXPECT_FALSE(must(rows.step()));
}

TEST_F(Database, KeepsTheJournalAndTheSyncsThatLast) {
  auto db = open();
  EXPECT_EQ(must(db.one<std::string>("PRAGMA journal_mode")), "truncate");
  EXPECT_EQ(must(db.one<int>("PRAGMA synchronous")), 2);  // FULL (sqlite.org/pragma.html)
  EXPECT_EQ(must(db.one<int>("PRAGMA foreign_keys")), 1);
  EXPECT_EQ(must(db.one<int>("PRAGMA trusted_schema")), 0);
}

TEST_F(Database, TellsWhatKindOfRowIsInTheWay) {
  auto db = with_table();
  must(db.run("INSERT INTO t VALUES (1, 0.0, 'x', NULL)"));
  EXPECT_EQ(db.run("INSERT INTO t VALUES (2, 0.0, 'x', NULL)").error().code, Code::exists);
  EXPECT_EQ(db.run("INSERT INTO t VALUES (1, 0.0, 'y', NULL)").error().code, Code::exists);
  EXPECT_EQ(db.run("INSERT INTO u VALUES (7)").error().code, Code::not_found);
  EXPECT_EQ(db.run("INSERT INTO t VALUES (3, 'no number', 'z', NULL)").error().code, Code::invalid);  // STRICT
  EXPECT_EQ(db.run("INSERT INTO t VALUES (?, ?, ?, ?)", 4).error().code, Code::invalid);              // too few values
  EXPECT_EQ(rows(db), 1);
}

TEST_F(Database, RollsBackWhatIsNotCommitted) {
  auto db = with_table();
  {
    const auto transaction = must(Transaction::begin(db));
    must(db.run("INSERT INTO t VALUES (1, 0.0, 'x', NULL)"));
    EXPECT_EQ(rows(db), 1);
  }
  EXPECT_EQ(rows(db), 0);
  auto transaction = must(Transaction::begin(db));
  must(db.run("INSERT INTO t VALUES (1, 0.0, 'x', NULL)"));
  must(transaction.commit());
  EXPECT_EQ(rows(db), 1);
}

TEST_F(Database, WaitsForAnotherWriterAndSaysBusyInTheEnd) {
  auto first = with_table();
  auto second = open(50ms);
  auto held = must(Transaction::begin(first));
  const auto before = std::chrono::steady_clock::now();
  const auto refused = Transaction::begin(second);
  ASSERT_FALSE(refused);
  EXPECT_EQ(refused.error().code, Code::busy);
  EXPECT_GE(std::chrono::steady_clock::now() - before, 40ms);
  must(held.commit());
  EXPECT_TRUE(Transaction::begin(second));
}

TEST_F(Database, RefusesAFileThatIsNoDatabase) {
  test::put_file(file(), std::string(5000, 'x'));
  const auto db = Db::open(file(), {});
  ASSERT_FALSE(db);
  EXPECT_EQ(db.error().code, Code::invalid);
  EXPECT_NE(db.error().what.find("x.sqlite"), std::string::npos);
  EXPECT_NE(db.error().what.find("everytake rebuild"), std::string::npos);
}

TEST_F(Database, TellsACutOffFile) {
  {
    auto db = with_table();
    auto transaction = must(Transaction::begin(db));
    for (int i = 0; i < 200; ++i) must(db.run("INSERT INTO t VALUES (?, 0.0, NULL, zeroblob(1000))", i + 1));
    must(transaction.commit());
  }
  test::put_file(file(), test::get_file(file()).substr(0, 100'000));
  auto db = Db::open(file(), {});
  const auto seen = db ? db->one<std::int64_t>("SELECT sum(length(b)) FROM t") : tl::unexpected(db.error());
  ASSERT_FALSE(seen);
  EXPECT_EQ(seen.error().code, Code::invalid);
}

TEST_F(Database, SaysWhereItCouldNotOpen) {
  const auto db = Db::open(file().parent_path() / "no such folder" / "x.sqlite", {});
  ASSERT_FALSE(db);
  EXPECT_EQ(db.error().code, Code::not_found);
  EXPECT_EQ(Db::open(file(), {.create = false}).error().code, Code::not_found);
}

}  // namespace
}  // namespace everytake
