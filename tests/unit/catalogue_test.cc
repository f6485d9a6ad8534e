#include "catalogue/catalogue.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cstdlib>
#include <thread>

#include "support/rooms.h"
#include "support/shoot_rows.h"

namespace everytake {
namespace {

using namespace std::chrono_literals;
using test::kNoon;
using test::must;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;

class CatalogueRows : public testing::Test {
 protected:
  Catalogue& catalogue() { return rows_.catalogue(); }

  Catalogue::Visit visit(const std::vector<VisitedFile>& files, Instant at) {
    const Roll roll{{}, "", at, "card-1", "/media/card\xff", "TOLL-A", "4A17-0B2C", "d41d"};
    return must(catalogue().open_visit(roll, files, [](const std::string&) { return false; }));
  }
  Result<void> record_reading(FileId file, const Digest& digest, const Digest& sample, int readings) {
    const FileReading reading{file, digest, sample, readings};
    return catalogue().record_copies({}, std::span(&reading, 1));
  }
  static VisitedFile fresh(const Path& path) { return {std::nullopt, {path, 1000, test::kShot}}; }
  FileRow file(const std::string& path) {
    for (auto& row : must(catalogue().files_of_card("card-1")))
      if (row.file.path == path) return std::move(row);
    throw std::runtime_error("no file " + path);
  }

  // What sqlite3, the general-purpose tool, prints.
  std::string sqlite3(const std::string& sql) const {
    const auto out = rows_.folder() / "out";
    const auto command = "sqlite3 '" + rows_.file().string() + "' \"" + sql + "\" > '" + out.string() + "'";
    EXPECT_EQ(std::system(command.c_str()), 0);
    return test::get_file(out);
  }

  test::ShootRows rows_;
};

// ---- Visits -------------------------------------------------------------------------------------------------------

TEST_F(CatalogueRows, MakesARollOnlyForFilesThatHaveNone) {
  const auto first = visit({fresh("a"), fresh("b")}, kNoon);
  ASSERT_TRUE(first.roll);
  EXPECT_EQ(first.roll->name, "R001");
  const auto again = visit({{first.files[0], {"a", 10, {}}}, {first.files[1], {"b", 10, {}}}}, kNoon + 1s);
  EXPECT_FALSE(again.roll);
  EXPECT_EQ(again.files, first.files);
  const auto more = visit({{first.files[0], {"a", 10, {}}}, fresh("c")}, kNoon + 2s);
  EXPECT_EQ(more.roll->name, "R002");
  EXPECT_EQ(file("a").seen_at, kNoon + 2s);
  EXPECT_EQ(file("b").seen_at, kNoon + 1s);
  EXPECT_EQ(file("c").roll, more.roll->id);
}

TEST_F(CatalogueRows, ARollIsReadBackAsItWasOpened) {
  visit({fresh("a")}, kNoon);
  const auto roll = must(catalogue().rolls()).at(0);
  EXPECT_EQ(roll.name, "R001");
  EXPECT_EQ(roll.opened_at, kNoon);
  EXPECT_EQ(roll.card, "card-1");
  EXPECT_EQ(roll.card_root, "/media/card\xff");
  EXPECT_EQ(roll.card_label, "TOLL-A");
  EXPECT_EQ(roll.card_uuid, "4A17-0B2C");
  EXPECT_EQ(roll.identity, "d41d");
}

TEST_F(CatalogueRows, RollsGetTheNextNumberThatIsFree) {
  const auto open = [&](const std::string& path, const std::string& taken) {
    const Roll roll{{}, "", kNoon, "card-1", "", "", "", ""};
    return must(catalogue().open_visit(roll, std::vector{fresh(path)},
                                       [&](const std::string& name) { return name <= taken; }))
        .roll->name;
  };
  EXPECT_EQ(open("a", ""), "R001");
  EXPECT_EQ(open("b", "R040"), "R041");
  EXPECT_EQ(open("c", ""), "R042");
  EXPECT_EQ(open("d", "R998"), "R999");
  EXPECT_EQ(open("e", ""), "R1000");
  EXPECT_EQ(open("f", ""), "R1001");
}

TEST_F(CatalogueRows, AVisitIsThereWholeOrNotAtAll) {
  visit({fresh("a")}, kNoon);
  EXPECT_THROW(visit({fresh("x"), fresh("y"), fresh("x")}, kNoon), std::runtime_error);
  EXPECT_EQ(must(catalogue().rolls()).size(), 1U);
  EXPECT_EQ(must(catalogue().files_of_card("card-1")).size(), 1U);
}

TEST_F(CatalogueRows, FindsARollByItsName) {
  EXPECT_EQ(catalogue().find_roll("R001").error().what, "there is no roll R001: no card was offloaded yet");
  rows_.visit({"a"});
  EXPECT_EQ(must(catalogue().find_roll("R001")).id, RollId{1});
  rows_.visit({"b"});
  EXPECT_EQ(catalogue().find_roll("R\x1b").error().what, "there is no roll R\\x1b: there are R001, R002");
}

// ---- Files and copies ---------------------------------------------------------------------------------------------

TEST_F(CatalogueRows, FilesKeepTheBytesOfTheirNames) {
  const std::vector<Path> odd{"-rf", "a\nb\x1b[2J", "caf\xc3\xa9.MP4", "\xfe\xff/\x80.mp4"};
  rows_.visit(odd);
  const auto files = must(catalogue().files_of_roll(RollId{1}));
  ASSERT_EQ(files.size(), 4U);
  for (std::size_t i = 0; i < odd.size(); ++i) EXPECT_EQ(files[i].file, (CardFile{odd[i], 1000, test::kShot}));
  EXPECT_FALSE(files[0].digest || files[0].sample || files[0].suspect);
  EXPECT_EQ(files[0].readings, 0);
  EXPECT_THAT(files[0].copies, IsEmpty());
}

TEST_F(CatalogueRows, FindsTheFilesOfACardInAllItsRolls) {
  rows_.visit({"a", "b"});
  rows_.visit({"a"}, kNoon, "another card");
  rows_.visit({"a"});
  const auto files = must(catalogue().files_of_card("card-1"));
  ASSERT_EQ(files.size(), 3U);
  EXPECT_EQ(files[0].roll, RollId{1});
  EXPECT_EQ(files[2].roll, RollId{3});
  EXPECT_THAT(must(catalogue().files_of_card("no card")), IsEmpty());
}

TEST_F(CatalogueRows, KeepsAReadingsTroubleUntilItIsReadWell) {
  const auto id = rows_.visit({"a"}).front();
  must(catalogue().record_trouble(id, "can't be read from byte 4096 on"));
  EXPECT_EQ(file("a").suspect, "can't be read from byte 4096 on");
  must(record_reading(id, Digest{{0x01}}, Digest{{0xff}}, 2));
  EXPECT_EQ(file("a").suspect, std::nullopt);
  EXPECT_EQ(file("a").digest, Digest{{0x01}});
  EXPECT_EQ(file("a").sample, Digest{{0xff}});
  EXPECT_EQ(file("a").readings, 2);
}

TEST_F(CatalogueRows, CountsOnlyReadingsThatGaveTheSameDigest) {
  const auto id = rows_.visit({"a"}).front();
  const Digest one{{0x11}}, two{{0x22}};
  must(record_reading(id, one, one, 2));
  must(record_reading(id, one, one, 1));
  EXPECT_EQ(file("a").readings, 2);
  must(record_reading(id, two, two, 2));
  must(record_reading(id, two, two, 1));
  EXPECT_EQ(file("a").readings, 2);
}

TEST_F(CatalogueRows, RefusesAReadingOfNoFile) {
  EXPECT_EQ(record_reading(FileId{99}, Digest{}, Digest{}, 1).error().code, Code::not_found);
}

TEST_F(CatalogueRows, WhatHasNotTheLengthOfADigestIsNone) {
  const auto id = rows_.visit({"a"}).front();
  must(record_reading(id, test::digest_of(id), test::digest_of(id), 1));
  EXPECT_EQ(sqlite3("UPDATE file SET digest = x'00'; SELECT hex(digest) FROM file"), "00\n");
  EXPECT_FALSE(file("a").digest);
  EXPECT_EQ(file("a").sample, test::digest_of(id));
}

TEST_F(CatalogueRows, ADestinationIsBroughtUpToDateByItsName) {
  const auto desk = rows_.destinations()[0];
  EXPECT_EQ(must(catalogue().destination({{}, "desk", "/media/new\xff", "disk-9", "", "", ""})), desk);
  const auto all = must(rows_.another()->destinations());  // durable, and not in a transaction left open
  ASSERT_EQ(all.size(), 2U);
  EXPECT_EQ(all[0].id, desk);
  EXPECT_EQ(all[0].path, "/media/new\xff");
  EXPECT_EQ(all[0].disk, "disk-9");
  EXPECT_EQ(all[0].fs_uuid, "uuid-desk");
  EXPECT_EQ(all[1].name, "shuttle");
}

TEST_F(CatalogueRows, AVerifiedCopyIsReadBackAsItWasWritten) {
  const auto id = rows_.visit({"a"}).front();
  must(record_reading(id, test::digest_of(id), test::digest_of(id), 1));
  auto copy = test::verified_copy(id, rows_.destinations()[1], "saltmarsh-radio/R001/a\xfe");
  copy.readback = Evidence::dropped;
  copy.stat.inode = UINT64_MAX;  // some filesystems number this high
  must(catalogue().record_copies(std::span(&copy, 1)));
  const auto read = file("a").copies.at(0);
  EXPECT_EQ(read.file, id);
  EXPECT_EQ(read.destination, copy.destination);
  EXPECT_EQ(read.state, CopyState::verified);
  EXPECT_EQ(read.stored, copy.stored);
  EXPECT_EQ(read.readback, Evidence::dropped);
  EXPECT_EQ(read.verified_at, kNoon + 1min);
  EXPECT_EQ(read.stat.size, 1000U);
  EXPECT_EQ(read.stat.mtime, copy.stat.mtime);
  EXPECT_EQ(read.stat.ctime, copy.stat.ctime);
  EXPECT_EQ(read.stat.inode, UINT64_MAX);
  EXPECT_EQ(read.digest, test::digest_of(id));
}

TEST_F(CatalogueRows, CallsNoCopyVerifiedThatHasOtherBytesThanItsFile) {
  const auto files = rows_.visit({"a", "never read"});
  must(record_reading(files[0], test::digest_of(files[0]), test::digest_of(files[0]), 1));
  auto other = test::verified_copy(files[0], rows_.destinations()[0], "a");
  other.digest = Digest{{0x77}};
  auto unread = test::verified_copy(files[1], rows_.destinations()[0], "never read");
  const CopyRow both[] = {other, unread};
  must(catalogue().record_copies(both));
  EXPECT_EQ(file("a").copies.at(0).state, CopyState::failed);
  EXPECT_EQ(file("never read").copies.at(0).state, CopyState::failed);
  // Nor by another program's hand.
  auto db = must(Db::open(rows_.file(), {}));
  EXPECT_FALSE(db.run("UPDATE copy SET state = 'verified', readback = 'direct', verified_at = 1, size = 1"));
  EXPECT_EQ(file("a").copies.at(0).state, CopyState::failed);
}

TEST_F(CatalogueRows, OneReadingMovesNoDigestAndTwoEndTheCopiesOfTheOther) {
  const auto id = rows_.visit({"a"}).front();
  rows_.put_copies({id});
  const Digest other{{0x77}};
  must(record_reading(id, other, other, 1));
  EXPECT_EQ(file("a").digest, test::digest_of(id));
  EXPECT_TRUE(file("a").suspect);
  must(record_reading(id, other, other, 2));
  EXPECT_EQ(file("a").digest, other);
  EXPECT_EQ(file("a").suspect, std::nullopt);
  for (const auto& copy : file("a").copies) {
    EXPECT_EQ(copy.state, CopyState::failed);
    EXPECT_EQ(copy.digest, test::digest_of(id));  // what lies there is still known
  }
}

TEST_F(CatalogueRows, KnowsItselfFromEveryOther) {
  const auto id = must(catalogue().id());
  EXPECT_EQ(id.size(), 32U);
  EXPECT_EQ(must(rows_.another()->id()), id);
  EXPECT_NE(must(must(Catalogue::empty())->id()), id);
  must(catalogue().add_stamp(std::string(32, '3'), kNoon));
  must(catalogue().add_stamp(std::string(32, '2'), kNoon - 1h));  // the clock was set back
  EXPECT_EQ(sqlite3("SELECT stamp FROM kept ORDER BY at DESC LIMIT 1"), std::string(32, '2') + "\n");
  EXPECT_TRUE(must(catalogue().has_stamp(id)));
  EXPECT_TRUE(must(catalogue().has_stamp(std::string(32, '3'))));
  EXPECT_FALSE(must(catalogue().has_stamp(std::string(32, '4'))));
}

TEST_F(CatalogueRows, KeepsWhatIsKnownOfADestinationWhereNothingIsToldNow) {
  must(catalogue().destination({{}, "desk", "/a", "sda", "4A17-0B2C", std::string(32, '1'), "saltmarsh-radio"}));
  must(catalogue().destination({{}, "desk", "/b", "", "", "", ""}));
  const auto row = must(catalogue().destinations()).at(0);
  EXPECT_EQ(row.path, "/b");
  EXPECT_EQ(row.disk, "sda");
  EXPECT_EQ(row.fs_uuid, "4A17-0B2C");
  EXPECT_EQ(row.mark, std::string(32, '1'));
  EXPECT_EQ(row.home, "saltmarsh-radio");
}

// Before there were marks a folder without a UUID was known by its path: any disk may be there now.
TEST_F(CatalogueRows, TrustsNoCopyInAFolderThatGetsItsFirstMarkAndHasNoUuid) {
  const auto files = rows_.visit({"a"});
  must(catalogue().destination({{}, "desk", "/a", "", "", "", ""}));
  rows_.put_copies(files);
  ASSERT_EQ(file("a").copies.at(0).state, CopyState::verified);
  must(catalogue().destination({{}, "desk", "/a", "", "uuid-desk", std::string(32, '1'), ""}));
  EXPECT_EQ(file("a").copies.at(0).state, CopyState::verified);  // its UUID speaks for it
  must(catalogue().destination({{}, "attic", "/c", "", "", "", ""}));
  auto copy = test::verified_copy(files[0], must(catalogue().destinations()).at(2).id, "a");
  must(catalogue().record_copies(std::span(&copy, 1)));
  must(catalogue().destination({{}, "attic", "/c", "", "", std::string(32, '2'), ""}));
  EXPECT_EQ(file("a").copies.at(2).state, CopyState::copied);
}

TEST_F(CatalogueRows, ACopysNewStateTakesThePlaceOfTheOld) {
  const auto id = rows_.visit({"a"}).front();
  rows_.put_copies({id});
  CopyRow failed;
  failed.file = id;
  failed.destination = rows_.destinations()[0];
  failed.state = CopyState::failed;
  must(catalogue().record_copies(std::span(&failed, 1)));
  const auto copies = file("a").copies;
  ASSERT_EQ(copies.size(), 2U);
  EXPECT_EQ(copies[0].state, CopyState::failed);
  EXPECT_FALSE(copies[0].verified_at || copies[0].readback);
  EXPECT_EQ(copies[1].state, CopyState::verified);
}

TEST_F(CatalogueRows, RecordsNothingOfABatchThatHasOneWrongRow) {
  const auto id = rows_.visit({"a"}).front();
  const auto desk = rows_.destinations()[0];
  const CopyRow batch[] = {test::verified_copy(id, desk, "a"), test::verified_copy(FileId{999}, desk, "a")};
  const FileReading reading{id, Digest{{0x11}}, Digest{{0x11}}, 1};
  EXPECT_EQ(catalogue().record_copies(batch, std::span(&reading, 1)).error().code, Code::not_found);
  EXPECT_THAT(file("a").copies, IsEmpty());
  EXPECT_FALSE(file("a").digest);
}

TEST_F(CatalogueRows, CallsNothingVerifiedWithoutItsProof) {
  const auto id = rows_.visit({"a"}).front();
  must(record_reading(id, test::digest_of(id), test::digest_of(id), 1));
  auto copy = test::verified_copy(id, rows_.destinations()[0], "a");
  copy.readback.reset();
  EXPECT_EQ(catalogue().record_copies(std::span(&copy, 1)).error().code, Code::invalid);
  copy.readback = Evidence::direct;
  copy.verified_at.reset();
  EXPECT_EQ(catalogue().record_copies(std::span(&copy, 1)).error().code, Code::invalid);
}

TEST_F(CatalogueRows, SumsUpItsRolls) {
  EXPECT_THAT(must(catalogue().roll_summaries()), IsEmpty());
  rows_.clips({"C0001"}, "another card");
  const auto files = rows_.visit({"a", "b", "c"});
  rows_.put_copies({files[0]});
  rows_.put_copies({files[1]}, CopyState::failed);
  must(record_reading(files[2], test::digest_of(files[2]), test::digest_of(files[2]), 1));
  auto weak = test::verified_copy(files[2], rows_.destinations()[1], "c");
  weak.readback = Evidence::cached;
  weak.verified_at = kNoon;
  must(catalogue().record_copies(std::span(&weak, 1)));
  must(catalogue().record_trouble(files[1], "two readings differ"));
  const auto sums = must(catalogue().roll_summaries());
  ASSERT_EQ(sums.size(), 2U);
  EXPECT_EQ(sums[0].destinations.size(), 2U);
  EXPECT_EQ(sums[1].roll.name, "R002");
  EXPECT_EQ(sums[1].files, 3U);
  EXPECT_EQ(sums[1].bytes, 3000U);
  ASSERT_EQ(sums[1].destinations.size(), 2U);
  const auto& desk = sums[1].destinations[0];
  EXPECT_EQ(desk.destination, "desk");
  EXPECT_EQ(desk.verified, 1U);
  EXPECT_EQ(desk.failed, 1U);
  EXPECT_EQ(desk.verified_bytes, 1000U);
  const auto& shuttle = sums[1].destinations[1];
  EXPECT_EQ(shuttle.verified, 2U);
}

TEST_F(CatalogueRows, ProblemsOfARollAreReplacedTogether) {
  rows_.visit({"a"});
  const Problem link{ProblemCode::not_a_file, "a\xff", "", "a link is not followed"};
  const Problem full{ProblemCode::no_room, "", "desk", "destination \"desk\" is full"};
  must(catalogue().record_problems(RollId{1}, std::vector{link, full}, kNoon + 1s));
  EXPECT_THAT(must(catalogue().roll_summaries()).at(0).problems, ElementsAre(link, full));
  must(catalogue().record_problems(RollId{1}, {}, kNoon));
  EXPECT_THAT(must(catalogue().roll_summaries()).at(0).problems, IsEmpty());
}

TEST_F(CatalogueRows, AProblemOfAnotherVersionKeepsItsWordsAndItsRow) {
  rows_.visit({"a"});
  must(catalogue().record_problems(RollId{1}, std::vector{Problem{ProblemCode::no_room, "", "desk", "it is full"}},
                                   kNoon));
  sqlite3("UPDATE problem SET code = 'of_tomorrow'");
  const Problem unknown{ProblemCode::unknown, "", "desk", "it is full"};
  EXPECT_THAT(must(catalogue().problems_of(RollId{1})), ElementsAre(unknown));
  EXPECT_EQ(sqlite3("SELECT code FROM problem"), "of_tomorrow\n");
}

// ---- Several at once ----------------------------------------------------------------------------------------------

TEST_F(CatalogueRows, LetsOneLivingProcessHaveACard) {
  const Holder first{100, "boot", 1}, second{100, "boot", 2};
  const auto alive = [](const Holder&) { return true; };
  const auto dead = [](const Holder&) { return false; };
  must(catalogue().take_card("card", first, kNoon, alive));
  const auto refused = rows_.another()->take_card("card", second, kNoon, alive);
  ASSERT_FALSE(refused);
  EXPECT_EQ(refused.error().code, Code::busy);
  EXPECT_EQ(refused.error().what,
            "process 100 is copying this card since 2026-03-14 12:00:00: wait for it, or stop it");
  must(catalogue().take_card("another card", second, kNoon, alive));
  must(catalogue().release_card("card", second));  // not its own
  EXPECT_FALSE(catalogue().take_card("card", second, kNoon, alive));
  must(catalogue().take_card("card", second, kNoon, dead));
  must(catalogue().release_card("card", second));
  must(catalogue().take_card("card", first, kNoon, alive));
}

TEST_F(CatalogueRows, NamesTheMachineThatHasACard) {
  const auto alive = [](const Holder&) { return true; };
  const Holder here{100, "laptop#11/boot", 1}, there{200, "studio-b#22/boot", 1};
  must(catalogue().take_card("card", there, kNoon, alive));
  const auto refused = catalogue().take_card("card", here, kNoon, alive);
  ASSERT_FALSE(refused);
  EXPECT_EQ(refused.error().code, Code::busy);
  EXPECT_THAT(refused.error().what, testing::StartsWith("process 200 on the computer \"studio-b\" is copying"));
}

TEST_F(CatalogueRows, AsksWhetherTheHolderLivesAndNobodyElse) {
  const Holder first{100, "boot", 1};
  must(catalogue().take_card("card", first, kNoon, [](const Holder&) -> bool { throw std::logic_error("nobody"); }));
  std::vector<Holder> asked;
  must(catalogue().take_card("card", Holder{101, "boot", 5}, kNoon, [&](const Holder& holder) {
    asked.push_back(holder);
    return false;
  }));
  EXPECT_THAT(asked, ElementsAre(first));
}

TEST_F(CatalogueRows, SeveralConnectionsAndThreadsLoseNothing) {
  auto other = rows_.another();
  constexpr int kEach = 15;
  const auto write = [](Catalogue& into, const std::string& stem) {
    for (int i = 0; i < kEach; ++i) {
      must(into.destination({{}, stem + std::to_string(i), "/", "", "", "", ""}));
      must(into.destinations());
    }
  };
  {
    std::jthread one([&] { write(catalogue(), "one"); });
    std::jthread two([&] { write(*other, "two"); });
    std::jthread three([&] { write(*other, "three"); });
  }
  EXPECT_EQ(must(catalogue().destinations()).size(), 3U * kEach);
}

TEST_F(CatalogueRows, AReaderIsNotKeptWaitingByAWriterAtWork) {
  rows_.clips({"C0001"});
  auto db = must(Db::open(rows_.file(), {}));
  const auto writing = must(Transaction::begin(db));
  must(db.run("UPDATE clip SET name = 'C0009'"));
  const auto reader = must(Catalogue::open(rows_.file(), {.busy_timeout = 0ms}));
  EXPECT_EQ(must(reader->clips()).at(0).name, "C0001");
}

// ---- The file -----------------------------------------------------------------------------------------------------

TEST_F(CatalogueRows, GeneralToolsFindTheFileWhole) {
  rows_.clips({"C0001", "C0002"});
  EXPECT_EQ(sqlite3("PRAGMA integrity_check"), "ok\n");
  EXPECT_EQ(sqlite3("PRAGMA foreign_key_check"), "");
  EXPECT_EQ(sqlite3("SELECT count(*), hex(max(digest)) FROM file"), "2|00000000000000000000000000000002\n");
  must(catalogue().check());
}

TEST_F(CatalogueRows, ADamagedPageIsFound) {
  std::vector<Path> many;
  for (int i = 0; i < 500; ++i) many.push_back("a long name that fills pages " + std::to_string(i));
  rows_.visit(many);
  auto bytes = test::get_file(rows_.file());
  ASSERT_GT(bytes.size(), 60'000U);
  std::fill(bytes.begin() + 40'000, bytes.begin() + 50'000, '\x55');
  const auto file = rows_.folder() / "damaged.sqlite";
  test::put_file(file, bytes);
  auto damaged = Catalogue::open(file);
  const auto checked = damaged ? (*damaged)->check() : tl::unexpected(damaged.error());
  ASSERT_FALSE(checked);
  EXPECT_EQ(checked.error().code, Code::invalid);
  EXPECT_THAT(checked.error().what, HasSubstr("everytake rebuild"));
}

TEST_F(CatalogueRows, ARowThatPointsNowhereIsFound) {
  rows_.visit({"a"});
  sqlite3("PRAGMA foreign_keys = OFF; DELETE FROM roll");
  const auto checked = catalogue().check();
  ASSERT_FALSE(checked);
  EXPECT_EQ(checked.error().what,
            "the catalogue is damaged (a row of \"file\" points nowhere): move it aside, then make it anew from a "
            "destination with \"everytake rebuild\"; until then wipe no card");
}

}  // namespace
}  // namespace everytake
