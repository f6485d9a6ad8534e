#include "catalogue/catalogue.h"

#include <gtest/gtest.h>
#include <unistd.h>

#include <cstdlib>
#include <fstream>
#include <sstream>

#include "catalogue/migrate.h"
#include "support/temp_dir.h"

namespace everytake {
namespace {

using namespace std::chrono_literals;

class CatalogueTest : public testing::Test {
 protected:
  CatalogueTest() : catalogue_(*Catalogue::open(file())) {}
  Path file() const { return dir_ / "catalogue.sqlite"; }

  Roll roll(Instant at) const { return {{}, "", at, "card-1", "/media/card", "CARD", "uuid", "identity"}; }

  Catalogue::Visit visit(const std::vector<SeenFile>& files, Instant at = Instant(1000s)) {
    auto visit = catalogue_->open_visit(roll(at), files, [](const std::string&) { return false; });
    EXPECT_TRUE(visit) << visit.error().what;
    return *visit;
  }

  static SeenFile fresh(const std::string& path) { return {std::nullopt, {path, 10, FileTime(5s)}}; }

  test::TempDir dir_;
  std::unique_ptr<Catalogue> catalogue_;
};

TEST_F(CatalogueTest, MakesARollOnlyForFilesThatHaveNone) {
  const auto first = visit({fresh("a"), fresh("b")});
  ASSERT_TRUE(first.roll);
  EXPECT_EQ(first.roll->name, "R001");
  const auto again = visit({{first.files[0], {"a", 10, {}}}, {first.files[1], {"b", 10, {}}}}, Instant(2000s));
  EXPECT_FALSE(again.roll);
  const auto more = visit({{first.files[0], {"a", 10, {}}}, fresh("c")}, Instant(3000s));
  EXPECT_EQ(more.roll->name, "R002");
  const auto rows = *catalogue_->files_of_card("card-1");
  ASSERT_EQ(rows.size(), 3U);
  EXPECT_EQ(rows[0].seen_at, Instant(3000s));
  EXPECT_EQ(rows[1].seen_at, Instant(2000s));
}

TEST_F(CatalogueTest, SkipsRollNamesThatADestinationHasAlready) {
  const auto visit = catalogue_->open_visit(roll(Instant(1s)), std::vector{fresh("a")},
                                            [](const std::string& name) { return name == "R001"; });
  EXPECT_EQ(visit->roll->name, "R002");
}

TEST_F(CatalogueTest, GivesBackWhatItWasTold) {
  const std::string odd = "CLIP/\xff\nname.MP4";
  const auto files = visit({fresh(odd)}).files;
  const auto desk = *catalogue_->destination("desk", "/media/desk", "sda", "u1");
  EXPECT_EQ(*catalogue_->destination("desk", "/media/desk2", "sdb", "u2"), desk);
  ASSERT_TRUE(catalogue_->record_reading(files[0], std::string(32, 'a'), std::string(32, 'b'), 1));
  CopyRow copy{files[0],
               desk,
               CopyState::verified,
               "song/R001/x",
               Evidence::direct,
               Instant(7s),
               {FileType::regular, 10, FileTime(5s), FileTime(6s), 0, 42}};
  ASSERT_TRUE(catalogue_->record_copies(std::vector{copy}));
  const auto row = catalogue_->files_of_card("card-1")->at(0);
  EXPECT_EQ(row.file.path.string(), odd);
  EXPECT_EQ(row.digest, std::string(32, 'a'));
  EXPECT_EQ(row.sample, std::string(32, 'b'));
  ASSERT_EQ(row.copies.size(), 1U);
  EXPECT_EQ(row.copies[0].stat.inode, 42U);
  EXPECT_EQ(row.copies[0].readback, Evidence::direct);
  EXPECT_EQ(catalogue_->destinations()->at(0).path, Path("/media/desk2"));
}

TEST_F(CatalogueTest, KeepsAReadingsTroubleUntilItIsReadWell) {
  const auto files = visit({fresh("a")}).files;
  ASSERT_TRUE(catalogue_->record_trouble(files[0], "stumbled"));
  EXPECT_EQ(catalogue_->files_of_card("card-1")->at(0).suspect, "stumbled");
  ASSERT_TRUE(catalogue_->record_reading(files[0], std::string(32, '0'), std::string(32, '1'), 2));
  EXPECT_EQ(catalogue_->files_of_card("card-1")->at(0).suspect, std::nullopt);
}

TEST_F(CatalogueTest, LetsTheHandGoBeforeTheRule) {
  const auto files = visit({fresh("C0001.MP4")}).files;
  const std::vector<ClipFiles> found{{"C0001", {{"C0001.MP4", FileRole::video}}}};
  const auto ids = *catalogue_->put_clips(found, {{"C0001.MP4", files[0]}});
  EXPECT_EQ(*catalogue_->put_clips(found, {{"C0001.MP4", files[0]}}), ids);
  ASSERT_TRUE(catalogue_->record_rule(ids[0], {Kind::b_roll, By::rule, "not placed in the song"}));
  EXPECT_EQ(catalogue_->clips()->at(0).judgement.kind, Kind::b_roll);
  using Way = Catalogue::Mark::Way;
  ASSERT_TRUE(catalogue_->mark(ids,
                               std::vector<Catalogue::Mark>{{"kind", "performance", Way::set},
                                                            {"member", "Ada", Way::add},
                                                            {"member", "Jonas", Way::add},
                                                            {"look", "warm", Way::set}},
                               {}));
  auto clip = catalogue_->clips()->at(0);
  EXPECT_EQ(clip.judgement.kind, Kind::performance);
  EXPECT_EQ(clip.judgement.by, By::hand);
  EXPECT_EQ(clip.members, (std::vector<std::string>{"Ada", "Jonas"}));
  EXPECT_EQ(clip.look, "warm");
  ASSERT_TRUE(catalogue_->mark(
      ids, std::vector<Catalogue::Mark>{{"kind", "", Way::clear}, {"member", "Ada", Way::remove}}, {}));
  clip = catalogue_->clips()->at(0);
  EXPECT_EQ(clip.judgement.kind, Kind::b_roll);
  EXPECT_EQ(clip.judgement.because, "not placed in the song");
  EXPECT_EQ(clip.members, (std::vector<std::string>{"Jonas"}));
}

TEST_F(CatalogueTest, RemembersFactsAndStudiesEachClipOnce) {
  const auto files = visit({fresh("C0001.MP4"), fresh("C0001M01.XML")}).files;
  const std::vector<ClipFiles> found{{"C0001", {{"C0001.MP4", FileRole::video}, {"C0001M01.XML", FileRole::sidecar}}}};
  const auto ids = *catalogue_->put_clips(found, {{"C0001.MP4", files[0]}, {"C0001M01.XML", files[1]}});
  const auto pending = *catalogue_->clips_to_study({});
  ASSERT_EQ(pending.size(), 1U);
  EXPECT_EQ(pending[0].files.parts.at(1).role, FileRole::sidecar);
  ClipFacts facts;
  facts.duration = 12s;
  facts.frame_rate = Rational(24000, 1001);
  facts.audio = true;
  facts.gamma = "s-log3";
  facts.origin["gamma"] = "sidecar";
  facts.problems.push_back({"truncated", "C0001.MP4", "", "its end is missing: shoot it again"});
  ASSERT_TRUE(catalogue_->record_facts(ids[0], facts, Instant(1s)));
  EXPECT_TRUE(catalogue_->clips_to_study({})->empty());
  EXPECT_EQ(catalogue_->clips_to_study(ids)->size(), 1U);
  const auto clip = catalogue_->clips()->at(0);
  EXPECT_EQ(clip.facts.duration, Micros(12s));
  EXPECT_EQ(clip.facts.frame_rate, Rational(24000, 1001));
  EXPECT_EQ(clip.facts.audio, true);
  EXPECT_EQ(clip.facts.width, std::nullopt);
  EXPECT_EQ(clip.facts.origin.at("gamma"), "sidecar");
  EXPECT_EQ(clip.facts.problems, facts.problems);
}

TEST_F(CatalogueTest, PlacesByHandBeforeByRule) {
  const auto files = visit({fresh("C0001.MP4")}).files;
  const auto ids = *catalogue_->put_clips(std::vector<ClipFiles>{{"C0001", {{"C0001.MP4", FileRole::video}}}},
                                          {{"C0001.MP4", files[0]}});
  Placement by_hand;
  by_hand.state = Placement::State::placed;
  by_hand.by = By::hand;
  by_hand.start = -2500ms;
  by_hand.spans = {{0s, 10s}};
  ASSERT_TRUE(catalogue_->mark(ids, {}, std::vector{by_hand}));
  Placement by_rule = by_hand;
  by_rule.by = By::rule;
  by_rule.start = 60s;
  by_rule.candidates = {{60s, 9.5}, {90s, 8.0}};
  ASSERT_TRUE(catalogue_->record_placement(ids[0], by_rule));
  auto clip = catalogue_->clips()->at(0);
  EXPECT_EQ(clip.placement.start, Micros(-2500ms));
  EXPECT_EQ(clip.placement.spans, by_hand.spans);
  by_hand.state = Placement::State::pending;  // taken back
  ASSERT_TRUE(catalogue_->record_placement(ids[0], by_hand));
  clip = catalogue_->clips()->at(0);
  EXPECT_EQ(clip.placement.start, Micros(60s));
  EXPECT_EQ(clip.placement.candidates.size(), 2U);
}

TEST_F(CatalogueTest, LetsOneLivingProcessHaveACard) {
  const Holder self{10, "boot", 1}, other{11, "boot", 2};
  const auto dead = [](const Holder&) { return false; };
  const auto living = [](const Holder&) { return true; };
  ASSERT_TRUE(catalogue_->take_card("card-1", self, Instant(1s), living));
  EXPECT_EQ(catalogue_->take_card("card-1", other, Instant(2s), living).error().code, Code::busy);
  EXPECT_TRUE(catalogue_->take_card("card-1", other, Instant(3s), dead));
  ASSERT_TRUE(catalogue_->release_card("card-1"));
  EXPECT_TRUE(catalogue_->take_card("card-1", self, Instant(4s), living));
}

TEST_F(CatalogueTest, IsSoundToSqlitesOwnTool) {
  visit({fresh("a")});
  const auto command = "sqlite3 '" + file().string() + "' 'PRAGMA integrity_check; PRAGMA foreign_key_check' > '" +
                       (dir_ / "out").string() + "'";
  ASSERT_EQ(std::system(command.c_str()), 0);
  EXPECT_EQ(test::get_file(dir_ / "out"), "ok\n");
}

TEST_F(CatalogueTest, RefusesAStateThatIsNone) {
  auto db = *Db::open(file());
  EXPECT_EQ(db.execute("INSERT INTO copy (file_id, destination_id, state, stored_path) VALUES (77, 77, 'planned', x'')")
                .error()
                .code,
            Code::invalid);                                                           // foreign keys
  EXPECT_FALSE(db.execute("INSERT INTO lease VALUES ('c', 'no number', 1, '', 1)"));  // STRICT
}

TEST_F(CatalogueTest, RollsBackATransactionThatIsNotCommitted) {
  auto db = *Db::open(file());
  {
    auto transaction = *Transaction::begin(db);
    ASSERT_TRUE(db.execute("INSERT INTO lease VALUES ('c', 1, 1, '', 1)"));
  }
  auto query = *db.prepare("SELECT count(*) FROM lease");
  ASSERT_TRUE(*query.step());
  EXPECT_EQ(query.integer(0), 0);
}

TEST(Migrate, RefusesANewerCatalogueAndADamagedOne) {
  const test::TempDir dir;
  {
    auto db = *Db::open(dir / "new.sqlite");
    ASSERT_TRUE(db.execute("PRAGMA user_version = 999"));
  }
  EXPECT_EQ(Catalogue::open(dir / "new.sqlite").error().code, Code::unsupported);
  test::put_file(dir / "no.sqlite", std::string(8192, 'x'));
  EXPECT_EQ(Catalogue::open(dir / "no.sqlite").error().code, Code::corrupt);
}

// To bring current.sql up to date:
//   everytake init x && everytake --shoot x rolls; sqlite3 x/catalogue.sqlite .schema > schema/current.sql
TEST(Migrate, GivesTheSchemaThatCurrentSqlShows) {
  const test::TempDir dir;
  ASSERT_TRUE(Catalogue::open(dir / "c.sqlite"));
  ASSERT_EQ(
      std::system(("sqlite3 '" + (dir / "c.sqlite").string() + "' .schema > '" + (dir / "out").string() + "'").c_str()),
      0);
  EXPECT_EQ(test::get_file(dir / "out"), test::get_file(Path(EVERYTAKE_SOURCE_DIR) / "schema/current.sql"));
}

}  // namespace
}  // namespace everytake
