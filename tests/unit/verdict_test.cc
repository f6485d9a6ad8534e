// The truth table: one row each for what must hold before a card may be wiped.
#include "offload/verdict.h"
#include "support/rooms.h"

#include <gtest/gtest.h>

namespace everytake {
namespace {

using Now = CopySeen::Now;
using Known = FileSeen::Known;

CopySeen copy(std::size_t destination) {
  return {destination,   CopyState::verified, true, Evidence::direct, Instant(std::chrono::seconds(1000)),
          Now::unchanged};
}

FileSeen file(const Path& path) {
  return {path, Known::equal, "", 1, {copy(0), copy(1)}};
}

DestinationSeen destination(const std::string& name, const std::string& disk) {
  DestinationSeen seen;
  seen.name = name;
  seen.disks = {{disk}, true};
  return seen;
}

CardSeen card() {
  CardSeen seen;
  seen.roll = "R001";
  seen.destinations = {destination("desk", "sda"), destination("shuttle", "sdb")};
  seen.files = {file("C0001.MP4"), file("C0002.MP4")};
  return seen;
}

// With a third destination that has all files, too.
CardSeen with_attic(const std::string& disk) {
  auto seen = card();
  seen.destinations.push_back(destination("attic", disk));
  for (auto& each : seen.files) each.copies.push_back(copy(2));
  return seen;
}

// The codes of all reasons, in order.
std::vector<std::string> codes(const CardSeen& seen) {
  const auto result = verdict(seen);
  EXPECT_EQ(result.safe, result.reasons.empty());
  std::vector<std::string> found;
  for (const auto& reason : result.reasons) found.push_back(to_string(reason.code));
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
  seen.troubles.push_back({ProblemCode::not_a_file, "link", "", "is a link"});
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
  seen.destinations[0].accept_cached = true;
  EXPECT_EQ(codes(seen), Codes{});
  EXPECT_TRUE(verdict(seen).rests_on_cached);
}

TEST(Verdict, IsNoWithOneCopyOrNoneAndNamesWhoLacksIt) {
  auto seen = card();
  seen.destinations[1].last_visit = "it had no room at the last visit";
  seen.files[0].copies.pop_back();
  EXPECT_EQ(codes(seen), (Codes{"too_few_copies"}));
  EXPECT_EQ(verdict(seen).reasons[0].message, "no copy at \"shuttle\": it had no room at the last visit");
  EXPECT_EQ(verdict(seen).reasons[0].destination, "shuttle");
  seen.files[0].copies.clear();
  EXPECT_EQ(codes(seen), (Codes{"too_few_copies", "too_few_copies"}));
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
  const Disks rows[] = {{{"sda"}, true}, {{"sda", "sdc"}, true}, {{}, false}, {{}, true}, {{"sdc"}, false}};
  for (const auto& disks : rows) {
    SCOPED_TRACE(disks_text(disks));
    auto seen = card();
    seen.destinations[1].disks = disks;
    EXPECT_EQ(codes(seen), (Codes{"same_disk", "same_disk"}));
  }
}

TEST(Verdict, TakesAPersonsWordForADiskThatCanNotBeSeenAndSaysWhose) {
  auto seen = card();
  seen.destinations[1].disks = {{"server 192.0.2.7"}, false};
  seen.destinations[1].own_disk = true;
  EXPECT_EQ(codes(seen), Codes{});
  EXPECT_EQ(verdict(seen).words, (std::vector<std::string>{"shuttle"}));
  seen.destinations[0].disks = seen.destinations[1].disks;  // the same server
  seen.destinations[0].own_disk = true;
  EXPECT_EQ(codes(seen), (Codes{"same_disk", "same_disk"}));
}

TEST(Verdict, TakesNobodysWordAgainstWhatIsSeen) {
  auto seen = card();
  seen.destinations[1].disks = {{"sda"}, true};
  for (auto& each : seen.destinations) each.own_disk = true;
  EXPECT_EQ(codes(seen), (Codes{"same_disk", "same_disk"}));
}

TEST(Verdict, CountsMemoryOnlyWhereThePlanAcceptsIt) {
  auto seen = card();
  seen.destinations[1].disks = {{"memory"}, true};
  EXPECT_EQ(codes(seen), (Codes{"unverified_copy", "unverified_copy"}));
  seen.destinations[1].accept_cached = true;
  EXPECT_EQ(codes(seen), Codes{});
}

TEST(Verdict, CountsNothingAtADestinationThatDoesNotAnswerOrIsTheCard) {
  auto dead = card();
  dead.destinations[0].trouble = "\"desk\" does not answer from its disk: input/output error";
  EXPECT_EQ(codes(dead), (Codes{"destination_absent", "destination_absent"}));
  auto on_card = card();
  on_card.destinations[0].on_card = true;
  EXPECT_EQ(codes(on_card), (Codes{"same_disk", "same_disk"}));
}

TEST(Verdict, IsNoForACopyThatWasReadBackWithOtherBytesThanTheCardGaveLast) {
  auto seen = card();
  seen.files[1].copies[0].is_the_file = false;
  EXPECT_EQ(codes(seen), (Codes{"unverified_copy"}));
}

TEST(Verdict, IsNoForAFileThatTheCardNeverGave) {
  auto seen = card();
  seen.files[0].known = Known::unread;
  EXPECT_EQ(codes(seen), (Codes{"read_problem"}));
}

TEST(Verdict, IsYesWithTwoGoodCopiesWhateverTheThirdIs) {
  for (const auto now : {Now::missing, Now::changed, Now::absent}) {
    auto seen = with_attic("sdc");
    for (auto& each : seen.files) each.copies[2].now = now;
    EXPECT_EQ(codes(seen), Codes{});
  }
}

TEST(Verdict, CountsAThirdCopyOnAnotherDiskWhenTwoShareOne) {
  auto seen = with_attic("sdc");
  seen.destinations[1].disks = {{"sda"}, true};
  EXPECT_EQ(codes(seen), Codes{});
}

TEST(Verdict, NamesOnlyDestinationsAtWhichEveryFileIsGood) {
  auto seen = with_attic("sdc");
  seen.files[1].copies[2].now = Now::changed;
  EXPECT_EQ(verdict(seen).destinations, (std::vector<std::string>{"desk", "shuttle"}));
  EXPECT_FALSE(verdict(seen).in_several);
  seen.files[0].copies[0].now = Now::missing;  // now each file has two good copies, and no two disks hold both files
  EXPECT_TRUE(verdict(seen).safe);
  EXPECT_EQ(verdict(seen).destinations, (std::vector<std::string>{"desk", "shuttle", "attic"}));
  EXPECT_TRUE(verdict(seen).in_several);
}

TEST(Verdict, SaysOnceWhatIsTheSameOfManyFiles) {
  auto seen = card();
  for (int i = 3; i <= 42; ++i) seen.files.push_back(file("C" + std::to_string(i) + ".MP4"));
  for (auto& each : seen.files) each.copies[1].now = Now::missing;
  const auto result = verdict(seen);
  ASSERT_EQ(result.reasons.size(), 1U);
  EXPECT_EQ(result.reasons[0].code, ReasonCode::missing_copy);
  EXPECT_EQ(result.reasons[0].files, 42U);
  EXPECT_EQ(result.reasons[0].destination, "shuttle");
  EXPECT_EQ(result.reasons[0].message, "42 files: the copy at \"shuttle\" is gone");
}

TEST(Verdict, SaysWhatElseIsOnTheCardAndNotCovered) {
  auto seen = card();
  seen.beside = {"DCIM", "MISC"};
  EXPECT_EQ(grounds(verdict(seen)).back(), "it says nothing of what else is on this card: DCIM, MISC");
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
