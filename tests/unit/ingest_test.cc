// A visit of a card from end to end, on disks in memory and a real catalogue.
#include <gtest/gtest.h>

#include "support/ingest_bench.h"
#include "support/rooms.h"

namespace everytake {
namespace {

using test::FaultFs;
using test::MemFs;
using State = IngestReport::Destination::State;

using Ingest = test::IngestBench;
using Codes = std::set<std::string>;

TEST_F(Ingest, BringsACardToBothDisksAndThenItMayBeWiped) {
  EXPECT_EQ(codes(check_safe()), Codes{"not_offloaded"});
  const auto report = offload();
  ASSERT_TRUE(report) << report.error().what;
  EXPECT_EQ(report->roll, "R001");
  EXPECT_EQ(report->files, 5U);
  EXPECT_TRUE(report->problems.empty());
  EXPECT_EQ(report->clips.size(), 2U);
  for (const auto& destination : report->destinations) {
    EXPECT_EQ(destination.state, State::verified);
    EXPECT_EQ(destination.copied_files, 5U);
    EXPECT_EQ(destination.readback, Evidence::direct);
  }
  EXPECT_TRUE(disks_[0]->has("saltmarsh-radio/R001.xxh128"));
  EXPECT_EQ(disks_[1]->get(at("R001", "C0002")), card_.get("PRIVATE/M4ROOT/CLIP/C0002.MP4"));
  EXPECT_TRUE(check_safe().safe);
  EXPECT_TRUE(check_safe(true).safe);
}

TEST_F(Ingest, CopiesOnlyWhatIsMissingTheSecondTime) {
  ASSERT_TRUE(offload());
  const auto again = offload();
  EXPECT_EQ(again->roll, "R001");
  EXPECT_EQ(again->destinations[0].copied_files, 0U);
  EXPECT_EQ(again->destinations[0].already_files, 5U);
  ASSERT_TRUE(disks_[1]->remove(at("R001", "C0001")));
  EXPECT_EQ(codes(check_safe()), Codes{"missing_copy"});
  const auto third = offload();
  EXPECT_EQ(third->destinations[0].copied_files, 0U);
  EXPECT_EQ(third->destinations[1].copied_files, 1U);
  EXPECT_TRUE(check_safe().safe);
}

TEST_F(Ingest, SaysNoWhenMoreWasShotAndYesAfterThatIsCopiedToo) {
  ASSERT_TRUE(offload());
  shoot("C0003", 3);
  EXPECT_EQ(codes(check_safe()), Codes{"new_file"});
  const auto report = offload();
  EXPECT_EQ(report->roll, "R002");
  EXPECT_EQ(report->destinations[0].copied_files, 2U);
  EXPECT_TRUE(disks_[0]->has(at("R002", "C0003")));
  EXPECT_TRUE(check_safe().safe);
}

TEST_F(Ingest, TakesAWipedCardWithTheSameNamesAsANewRoll) {
  ASSERT_TRUE(offload());
  shoot("C0001", 7);
  shoot("C0002", 8);
  EXPECT_EQ(codes(check_safe()), Codes{"changed_file"});
  const auto report = offload();
  EXPECT_EQ(report->roll, "R002");
  EXPECT_EQ(disks_[0]->get(at("R002", "C0001")), card_.get("PRIVATE/M4ROOT/CLIP/C0001.MP4"));
  EXPECT_NE(disks_[0]->get(at("R001", "C0001")), disks_[0]->get(at("R002", "C0001")));
  EXPECT_TRUE(check_safe().safe);
}

TEST_F(Ingest, TellsApartFilesOfTheSameNameSizeAndTime) {
  ASSERT_TRUE(offload());
  card_.put("PRIVATE/M4ROOT/CLIP/C0001.MP4", std::string(300'000, 'z'), FileTime(std::chrono::seconds(1'700'000'001)));
  EXPECT_EQ(codes(check_safe()), Codes{"changed_file"});
  EXPECT_EQ(offload()->roll, "R002");
}

TEST_F(Ingest, MissesAFileThatWasThereAtTheLastVisit) {
  ASSERT_TRUE(offload());
  ASSERT_TRUE(card_.remove("PRIVATE/M4ROOT/CLIP/C0002.MP4"));
  EXPECT_EQ(codes(check_safe()), Codes{"changed_file"});
  ASSERT_TRUE(offload());  // a visit takes note that it is gone
  EXPECT_TRUE(check_safe().safe);
}

TEST_F(Ingest, GoesOnWithoutADestinationAndCatchesUpLater) {
  const auto report = offload(card_, open("shuttle"));
  EXPECT_EQ(report->destinations[0].state, State::verified);
  EXPECT_EQ(report->destinations[1].state, State::failed);
  EXPECT_EQ(report->problems.at(0).code, ProblemCode::destination_absent);
  EXPECT_EQ(codes(check_safe()), Codes{"too_few_copies"});
  const auto later = offload();
  EXPECT_EQ(later->destinations[0].copied_files, 0U);
  EXPECT_EQ(later->destinations[1].copied_files, 5U);
  EXPECT_TRUE(check_safe().safe);
  EXPECT_EQ(codes(check_safe(false, "desk")), Codes{"destination_absent"});
}

TEST_F(Ingest, SaysNoWhenACopyWasChanged) {
  ASSERT_TRUE(offload());
  const auto stored = at("R001", "C0001");
  auto bytes = disks_[0]->get(stored);
  bytes[0] = '!';
  disks_[0]->put(stored, bytes, disks_[0]->stat(stored)->mtime);  // same size, same time
  EXPECT_EQ(codes(check_safe()), Codes{"copy_changed"});
}

TEST_F(Ingest, FindsByReadingEveryByteWhatASampleCanNotShow) {
  std::string bytes(5'000'000, 'a');
  card_.put("PRIVATE/M4ROOT/CLIP/C0001.MP4", bytes);
  ASSERT_TRUE(offload());
  card_.alter("PRIVATE/M4ROOT/CLIP/C0001.MP4", 2'500'000);
  EXPECT_TRUE(check_safe().safe);
  EXPECT_EQ(codes(check_safe(true)), Codes{"changed_file"});
}

TEST_F(Ingest, NeverCallsOneDiskTwoDisks) {
  auto volume = *disks_[0]->volume();
  volume.uuid = "another filesystem of the same disk";
  disks_[1]->set_volume(volume);
  ASSERT_TRUE(offload());
  EXPECT_EQ(codes(check_safe()), Codes{"same_disk"});
}

TEST_F(Ingest, CountsAReadBackFromMemoryOnlyWhereThePlanAcceptsIt) {
  disks_[1]->set_evidence(Evidence::cached);
  const auto report = offload();
  EXPECT_EQ(report->destinations[1].state, State::incomplete);
  EXPECT_EQ(codes(check_safe()), Codes{"unverified_copy"});
  plan_.destinations[1].accept_cached = true;
  EXPECT_EQ(offload()->destinations[1].state, State::verified);
  EXPECT_TRUE(check_safe().safe);
  EXPECT_TRUE(check_safe().rests_on_cached);
}

TEST_F(Ingest, RefusesAnotherDiskUnderAKnownName) {
  ASSERT_TRUE(offload());
  disks_[1] = std::make_unique<MemFs>();
  EXPECT_EQ(codes(check_safe()), Codes{"destination_absent"});
  EXPECT_EQ(offload()->problems.at(0).code, ProblemCode::other_disk);
}

TEST_F(Ingest, MendsACopyThatWasWrittenWrong) {
  auto destinations = open();
  auto& desk = dynamic_cast<FaultFs&>(*destinations[0].fs);
  desk.flip_at("append " + part("R001", 1) + " #1");
  const auto report = offload(card_, std::move(destinations));
  EXPECT_EQ(report->destinations[0].state, State::verified);
  EXPECT_TRUE(check_safe().safe);
}

TEST_F(Ingest, KeepsWhatIsDoneWhenTheCardIsPulled) {
  FaultFs card(card_);
  card.fail_at("read PRIVATE/M4ROOT/CLIP/C0002.MP4 #1", Code::gone, FaultFs::Then::dead);
  const auto report = offload(card, open());
  ASSERT_TRUE(report->ended);
  EXPECT_EQ(report->ended->code, Code::gone);
  EXPECT_FALSE(check_safe().safe);
  const auto later = offload();
  EXPECT_EQ(later->roll, "R001");
  EXPECT_GT(later->destinations[0].already_files, 0U);
  EXPECT_TRUE(check_safe().safe);
}

TEST_F(Ingest, WritesNothingOnADryRun) {
  options_.dry_run = true;
  const auto report = offload();
  EXPECT_EQ(report->files, 5U);
  EXPECT_TRUE(disks_[0]->files().empty());
  EXPECT_TRUE(catalogue_->rolls()->empty());
}

TEST_F(Ingest, RefusesAnEmptyCard) {
  MemFs empty;
  EXPECT_EQ(offload(empty, open()).error().code, Code::invalid);
}

TEST_F(Ingest, ReadsTheCardTwiceWhenAsked) {
  plan_.read_card_twice = true;
  ASSERT_TRUE(offload());
  const auto verdict = check_safe();
  EXPECT_TRUE(verdict.safe);
  EXPECT_EQ(verdict.readings, 2);
}

TEST_F(Ingest, AsksForTheSecondReadingOfACardReadOnce) {
  ASSERT_TRUE(offload());
  plan_.read_card_twice = true;
  EXPECT_EQ(codes(check_safe()), Codes{"read_problem"});
  ASSERT_TRUE(offload());
  EXPECT_TRUE(check_safe().safe);
}

}  // namespace
}  // namespace everytake
