// The truth table: one row each for what must hold before a card may be wiped.
#include "offload/verdict.h"

#include <gtest/gtest.h>

namespace everytake {
namespace {

using Now = CopySeen::Now;
using Known = FileSeen::Known;

CopySeen copy(const std::string& destination, const std::string& disk) {
  return {destination,   disk, CopyState::verified, Evidence::direct, false, Instant(std::chrono::seconds(1000)),
          Now::unchanged};
}

FileSeen file(const Path& path) {
  return {path, Known::equal, "", 1, {copy("desk", "sda"), copy("shuttle", "sdb")}};
}

CardSeen card() {
  CardSeen seen;
  seen.roll = "R001";
  seen.files = {file("C0001.MP4"), file("C0002.MP4")};
  return seen;
}

// The codes of all reasons, in order.
std::vector<std::string> codes(const CardSeen& seen) {
  const auto result = verdict(seen);
  EXPECT_EQ(result.safe, result.reasons.empty());
  std::vector<std::string> found;
  for (const auto& reason : result.reasons) found.push_back(reason.code);
  return found;
}

using Codes = std::vector<std::string>;

TEST(Verdict, IsYesWhenEverythingHoldsAndSaysWhatItRestsOn) {
  const auto result = verdict(card());
  EXPECT_TRUE(result.safe);
  EXPECT_EQ(result.roll, "R001");
  EXPECT_EQ(result.files, 2U);
  EXPECT_EQ(result.destinations, (std::vector<std::string>{"desk", "shuttle"}));
  EXPECT_EQ(result.oldest_read_back, Instant(std::chrono::seconds(1000)));
  EXPECT_EQ(result.readings, 1);
  EXPECT_FALSE(result.rests_on_cached);
}

TEST(Verdict, IsNoForACardThatWasNeverOffloaded) {
  auto seen = card();
  seen.roll = "";
  EXPECT_EQ(codes(seen), (Codes{"not_offloaded"}));
}

TEST(Verdict, IsNoForAnEmptyCard) {
  auto seen = card();
  seen.files.clear();
  EXPECT_EQ(codes(seen), (Codes{"not_offloaded"}));
}

TEST(Verdict, IsNoWhenTheCardCouldNotBeReadCompletely) {
  auto seen = card();
  seen.complete = false;
  EXPECT_EQ(codes(seen), (Codes{"read_problem"}));
}

TEST(Verdict, IsNoWhenSomethingOnTheCardIsNoFile) {
  auto seen = card();
  seen.troubles.push_back({"not_a_file", "link", "", "is a link"});
  EXPECT_EQ(codes(seen), (Codes{"read_problem"}));
}

TEST(Verdict, IsNoForAFileThatWasShotSince) {
  auto seen = card();
  seen.files.push_back({"C0003.MP4", Known::unknown, "", 0, {}});
  EXPECT_EQ(codes(seen), (Codes{"new_file"}));
}

TEST(Verdict, IsNoForAFileThatIsAnotherNow) {
  auto seen = card();
  seen.files[1].known = Known::changed;
  EXPECT_EQ(codes(seen), (Codes{"changed_file"}));
}

TEST(Verdict, IsNoForAFileThatIsNoLongerThere) {
  auto seen = card();
  seen.vanished = {"C0009.MP4"};
  EXPECT_EQ(codes(seen), (Codes{"changed_file"}));
}

TEST(Verdict, IsNoWhenAFileWasReadWithTrouble) {
  auto seen = card();
  seen.files[0].trouble = "two readings differed";
  EXPECT_EQ(codes(seen), (Codes{"read_problem"}));
}

TEST(Verdict, IsNoWhileASecondReadingIsWantedAndOutstanding) {
  auto seen = card();
  seen.wants_two_readings = true;
  seen.files[0].readings = 2;
  EXPECT_EQ(codes(seen), (Codes{"read_problem"}));
  seen.files[1].readings = 2;
  EXPECT_EQ(codes(seen), Codes{});
}

TEST(Verdict, IsNoForEveryStateButVerified) {
  for (const auto state : {CopyState::planned, CopyState::copied, CopyState::failed}) {
    auto seen = card();
    seen.files[0].copies[1].state = state;
    EXPECT_EQ(codes(seen), (Codes{"unverified_copy"})) << to_string(state);
  }
}

TEST(Verdict, IsNoForAReadBackFromMemoryUnlessThePlanAcceptsIt) {
  auto seen = card();
  for (auto& each : seen.files) each.copies[0].evidence = Evidence::cached;
  EXPECT_EQ(codes(seen), (Codes{"unverified_copy", "unverified_copy"}));
  for (auto& each : seen.files) each.copies[0].accept_cached = true;
  EXPECT_EQ(codes(seen), Codes{});
  EXPECT_TRUE(verdict(seen).rests_on_cached);
}

TEST(Verdict, IsNoWithOneCopyOrNone) {
  auto seen = card();
  seen.files[0].copies.pop_back();
  EXPECT_EQ(codes(seen), (Codes{"too_few_copies"}));
  seen.files[0].copies.clear();
  EXPECT_EQ(codes(seen), (Codes{"too_few_copies"}));
}

TEST(Verdict, IsNoWhenACopyIsGoneChangedOrOutOfSight) {
  const std::pair<Now, const char*> rows[] = {
      {Now::missing, "missing_copy"}, {Now::changed, "copy_changed"}, {Now::absent, "destination_absent"}};
  for (const auto& [now, code] : rows) {
    auto seen = card();
    seen.files[1].copies[0].now = now;
    EXPECT_EQ(codes(seen), (Codes{code}));
  }
}

TEST(Verdict, IsNoWhenBothCopiesAreOnOneDiskOrMayBe) {
  for (const char* disk : {"sda", ""}) {
    auto seen = card();
    for (auto& each : seen.files)
      for (auto& one : each.copies) one.disk = disk;
    EXPECT_EQ(codes(seen), (Codes{"same_disk", "same_disk"}));
  }
}

TEST(Verdict, IsYesWithTwoGoodCopiesWhateverTheThirdIs) {
  for (const auto now : {Now::missing, Now::changed, Now::absent}) {
    auto seen = card();
    for (auto& each : seen.files) {
      each.copies.push_back(copy("attic", "sdc"));
      each.copies.back().now = now;
    }
    EXPECT_EQ(codes(seen), Codes{});
  }
}

TEST(Verdict, CountsAThirdCopyOnAnotherDiskWhenTwoShareOne) {
  auto seen = card();
  for (auto& each : seen.files) {
    each.copies[1].disk = "sda";
    each.copies.push_back(copy("attic", "sdc"));
  }
  EXPECT_EQ(codes(seen), Codes{});
}

TEST(Verdict, NamesEveryReasonNotOnlyTheFirst) {
  auto seen = card();
  seen.files[0].copies[0].now = Now::missing;
  seen.files[0].copies[1].now = Now::absent;
  seen.files[1].known = Known::changed;
  EXPECT_EQ(codes(seen), (Codes{"missing_copy", "destination_absent", "changed_file"}));
}

TEST(Verdict, CountsTheReadingMadeForIt) {
  auto seen = card();
  seen.every_byte = true;
  EXPECT_EQ(verdict(seen).readings, 2);
}

}  // namespace
}  // namespace everytake
