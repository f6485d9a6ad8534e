#include "catalogue/migrate.h"

#include <gtest/gtest.h>

#include "support/rooms.h"
#include "support/shoot_rows.h"

namespace everytake {
namespace {

using test::must;

const SchemaStep kOne{"001_a.sql", "CREATE TABLE a (x INTEGER) STRICT"};
const SchemaStep kTwo{"002_b.sql", "CREATE TABLE b (x INTEGER) STRICT; INSERT INTO b VALUES (1)"};
const SchemaStep kBroken{"002_bad.sql", "CREATE TABLE b (x INTEGER) STRICT; INSERT INTO nowhere VALUES (1)"};

class Migrating : public testing::Test {
 protected:
  Db open() const { return must(Db::open(dir_ / "x.sqlite", {})); }
  static std::vector<std::string> schema(Db& db) {
    return must(db.all("SELECT sql FROM sqlite_schema WHERE sql IS NOT NULL ORDER BY type DESC, name",
                       [](Statement& row) { return row.next<std::string>(); }));
  }
  static int version(Db& db) { return must(db.one<int>("PRAGMA user_version")).value(); }

 private:
  const test::TempDir dir_;
};

TEST_F(Migrating, TakesEachStepOnce) {
  const SchemaStep steps[] = {kOne, kTwo};
  auto db = open();
  must(migrate(db, std::span(steps, 1)));
  EXPECT_EQ(version(db), 1);
  must(migrate(db, steps));
  EXPECT_EQ(version(db), 2);
  must(migrate(db, steps));
  EXPECT_EQ(must(db.one<int>("SELECT count(*) FROM b")), 1);
}

TEST_F(Migrating, StaysAtTheStepBeforeOneThatFails) {
  const SchemaStep steps[] = {kOne, kBroken};
  auto db = open();
  const auto done = migrate(db, steps);
  ASSERT_FALSE(done);
  EXPECT_NE(done.error().what.find("002_bad.sql"), std::string::npos);
  EXPECT_EQ(version(db), 1);
  EXPECT_EQ(schema(db).size(), 1U);  // nothing of the broken step
}

TEST_F(Migrating, RefusesTheFileOfANewerProgram) {
  const SchemaStep steps[] = {kOne, kTwo};
  auto db = open();
  must(migrate(db, steps));
  const auto before = schema(db);
  const auto done = migrate(db, std::span(steps, 1));
  ASSERT_FALSE(done);
  EXPECT_EQ(done.error().code, Code::unsupported);
  EXPECT_EQ(done.error().what,
            "a newer everytake made this catalogue (schema 2, this one knows 1): use that version; "
            "nothing was changed");
  EXPECT_EQ(schema(db), before);
}

TEST_F(Migrating, RefusesTheDatabaseOfAnotherProgram) {
  auto db = open();
  must(db.script("CREATE TABLE roll (x INTEGER)"));
  const auto done = migrate(db);
  ASSERT_FALSE(done);
  EXPECT_EQ(done.error().code, Code::unsupported);
  EXPECT_EQ(version(db), 0);
  EXPECT_EQ(schema(db).size(), 1U);
}

// A shoot that was begun with the first schema.
TEST_F(Migrating, KeepsWhatAnOlderProgramWrote) {
  auto db = open();
  must(migrate(db, schema_steps().first(1)));
  must(
      db.script("PRAGMA foreign_keys = OFF; INSERT INTO clip (id, roll_id, name, file_id, gamma, lens) VALUES (7, 1, "
                "'C0001', 1, 's-log3', '35 mm')"));
  must(migrate(db));
  EXPECT_EQ(version(db), static_cast<int>(schema_steps().size()));
  EXPECT_EQ(must(db.one<std::string>("SELECT id || name || gamma || lens || ifnull(iso, '-') || ifnull(shutter, '-')"
                                     " FROM clip")),
            "7C0001s-log335 mm--");
}

// Copies had no digest of their own, and a file's could have been moved by a later reading: no row tells.
TEST_F(Migrating, AsksForCopiesToBeReadBackThatHaveNoDigestOfTheirOwn) {
  auto db = open();
  must(migrate(db, schema_steps().first(2)));
  must(
      db.script("INSERT INTO roll VALUES (1, 'R001', 0, 'card', x'2f', 'TOLL-A', '', '');"
                "INSERT INTO destination VALUES (1, 'desk', x'2f61', 'sda', 'uuid-desk');"
                "INSERT INTO file VALUES (1, 1, x'61', 1, 0, x'01', x'0a0b', 1, NULL, 0),"
                " (2, 1, x'62', 1, 0, x'01', x'0c0d', 2, NULL, 0);"
                "INSERT INTO copy SELECT id, 1, 'verified', path, 'direct', 5, 1, 0, 0, 7 FROM file"));
  must(migrate(db));
  EXPECT_EQ(must(db.one<std::string>("SELECT group_concat(file_id || state || ifnull(hex(digest), ''))"
                                     " FROM (SELECT * FROM copy ORDER BY file_id)")),
            "1copied,2copied");
  EXPECT_EQ(must(db.one<int>("SELECT length(id) FROM identity")), 32);
  EXPECT_EQ(must(db.one<int>("SELECT count(*) FROM kept JOIN identity ON stamp = identity.id")), 1);
}

TEST_F(Migrating, LeadsToTheSchemaThatIsWrittenDown) {
  const test::TempDir dir;
  auto written = must(Db::open(dir / "written.sqlite", {}));
  must(written.script(test::get_file(EVERYTAKE_SOURCE_DIR "/schema/current.sql")));
  auto db = open();
  must(migrate(db));
  EXPECT_EQ(schema(db), schema(written)) << "write schema/current.sql anew, as schema/README.md says";
  EXPECT_EQ(version(db), static_cast<int>(schema_steps().size()));
}

TEST_F(Migrating, MakesOnlyStrictTables) {
  auto db = open();
  must(migrate(db));
  EXPECT_EQ(must(db.one<std::string>("SELECT group_concat(name) FROM pragma_table_list"
                                     " WHERE schema = 'main' AND NOT strict AND name NOT LIKE 'sqlite_%'")),
            "");
}

}  // namespace
}  // namespace everytake
