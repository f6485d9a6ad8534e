// Copies read back, and made anew from one another, on disks in memory and a real catalogue.
#include <gtest/gtest.h>

#include <thread>

#include "service/card_priority.h"
#include "support/ingest_bench.h"
#include "support/rooms.h"

namespace everytake {
namespace {

using test::FaultFs;

class Verify : public test::IngestBench {
 protected:
  VerifyReport verify(const CopyChoice& choice = {}, const std::string& absent = "") {
    auto destinations = open(absent);
    return *Pipeline(*catalogue_, plan_, clock_).verify(destinations, choice, [](auto, auto) {}, {});
  }
  RepairReport repair(std::vector<OpenDestination> destinations, const CopyChoice& choice = {}) {
    return *Pipeline(*catalogue_, plan_, clock_).repair(destinations, choice, {}, {});
  }
  RepairReport repair() { return repair(open()); }

  std::string on_card(const std::string& clip) { return card_.get("PRIVATE/M4ROOT/CLIP/" + clip + ".MP4"); }
};

TEST_F(Verify, ReadsEveryCopyBack) {
  ASSERT_TRUE(offload());
  const auto report = verify();
  ASSERT_EQ(report.destinations.size(), 2U);
  for (const auto& each : report.destinations) {
    EXPECT_TRUE(each.is_whole());
    EXPECT_EQ(each.verified, 5U);
    EXPECT_EQ(each.readback, Evidence::direct);
  }
  EXPECT_TRUE(report.problems.empty());
}

TEST_F(Verify, FindsBitRotThatNoDateShows) {
  ASSERT_TRUE(offload());
  disks_[1]->alter(at("R001", "C0001"), 1234);
  EXPECT_TRUE(check_safe().safe);  // a listing can't show it
  const auto report = verify();
  EXPECT_TRUE(report.destinations[0].is_whole());
  EXPECT_EQ(report.destinations[1].differing, 1U);
  EXPECT_EQ(report.problems.at(0).code, ProblemCode::bytes_differ);
  EXPECT_EQ(codes(check_safe()), std::set<std::string>{"unverified_copy"});
}

TEST_F(Verify, MakesABadCopyAnewAndKeepsTheBadOneAside) {
  ASSERT_TRUE(offload());
  disks_[1]->alter(at("R001", "C0001"), 1234);
  const auto bad = disks_[1]->get(at("R001", "C0001"));
  verify();
  EXPECT_EQ(repair().repaired.at("shuttle"), 1U);
  EXPECT_EQ(disks_[1]->get(at("R001", "C0001")), on_card("C0001"));
  EXPECT_EQ(disks_[1]->get("saltmarsh-radio/R001.bad/PRIVATE/M4ROOT/CLIP/C0001.MP4"), bad);
  EXPECT_TRUE(check_safe().safe);
  EXPECT_TRUE(verify().destinations[1].is_whole());
}

TEST_F(Verify, MakesAMissingCopyAnewWithoutTheCard) {
  ASSERT_TRUE(offload());
  ASSERT_TRUE(disks_[0]->remove(at("R001", "C0002")));
  EXPECT_EQ(verify().destinations[0].missing, 1U);
  EXPECT_EQ(repair().repaired.at("desk"), 1U);
  EXPECT_EQ(disks_[0]->get(at("R001", "C0002")), on_card("C0002"));
  EXPECT_TRUE(verify().destinations[0].is_whole());
}

TEST_F(Verify, LetsADestinationThatWasAwayCatchUpFromTheOther) {
  ASSERT_TRUE(offload(card_, open("shuttle")));
  EXPECT_TRUE(disks_[1]->files().empty());
  EXPECT_EQ(repair().repaired.at("shuttle"), 5U);
  EXPECT_EQ(disks_[1]->get(at("R001", "C0001")), on_card("C0001"));
  EXPECT_TRUE(disks_[1]->has("saltmarsh-radio/R001.xxh128"));
  EXPECT_TRUE(check_safe().safe);  // both are verified against what the card held
  EXPECT_TRUE(repair().repaired.empty());
}

TEST_F(Verify, NeverSpreadsARottenCopy) {
  ASSERT_TRUE(offload(card_, open("shuttle")));
  disks_[0]->alter(at("R001", "C0001"), 99);
  const auto report = repair();
  EXPECT_EQ(report.repaired.at("shuttle"), 4U);
  EXPECT_FALSE(disks_[1]->has(at("R001", "C0001")));
  std::set<std::string> problems;
  for (const auto& problem : report.problems) problems.insert(to_string(problem.code));
  EXPECT_TRUE(problems.count("bytes_differ"));
  EXPECT_TRUE(problems.count("no_good_copy"));
  EXPECT_FALSE(check_safe().safe);
}

TEST_F(Verify, TakesTheThirdCopyWhereTheFirstIsRotten) {
  add_destination("vault");
  ASSERT_TRUE(offload());
  disks_[0]->alter(at("R001", "C0001"), 99);
  ASSERT_TRUE(disks_[1]->remove(at("R001", "C0001")));
  repair();
  EXPECT_EQ(disks_[1]->get(at("R001", "C0001")), on_card("C0001"));
  EXPECT_EQ(disks_[0]->get(at("R001", "C0001")), on_card("C0001"));
}

TEST_F(Verify, ReadsOnlyWhatWasAskedFor) {
  ASSERT_TRUE(offload());
  const auto report = verify({{}, "desk"});
  ASSERT_EQ(report.destinations.size(), 1U);
  EXPECT_EQ(report.destinations[0].name, "desk");
  shoot("C0003", 3);
  ASSERT_TRUE(offload());
  EXPECT_EQ(verify({{catalogue_->find_roll("R002")->id}, {}}).destinations[0].files, 2U);
}

TEST_F(Verify, SaysThatADiskIsAwayAndLeavesItsRowsAlone) {
  ASSERT_TRUE(offload());
  const auto report = verify({}, "shuttle");
  EXPECT_FALSE(report.destinations[1].is_here);
  EXPECT_EQ(report.problems.at(0).code, ProblemCode::destination_absent);
  EXPECT_TRUE(check_safe().safe);
}

TEST_F(Verify, LosesNothingWhicheverOperationFailsWhileMending) {
  ASSERT_TRUE(offload());
  const auto rot = [&] { disks_[1]->alter(at("R001", "C0001"), 7); };
  rot();
  verify();
  auto clean = open();
  (void)Pipeline(*catalogue_, plan_, clock_).repair(clean, {}, {}, {});
  const auto operations = dynamic_cast<FaultFs&>(*clean[1].fs).operations();
  ASSERT_GT(operations.size(), 15U);
  for (const auto& operation : operations)
    for (const auto then : {FaultFs::Then::carry_on, FaultFs::Then::dead}) {
      SCOPED_TRACE(operation);
      verify();
      repair();
      rot();
      verify();
      auto destinations = open();
      dynamic_cast<FaultFs&>(*destinations[1].fs).fail_at(operation, Code::io, then);
      (void)Pipeline(*catalogue_, plan_, clock_).repair(destinations, {}, {}, {});
      if (then == FaultFs::Then::dead) disks_[1]->crash();
      if (check_safe().safe) {
        EXPECT_TRUE(disks_[1]->get(at("R001", "C0001")) == on_card("C0001"));
      }
      verify();
      repair();
      EXPECT_TRUE(disks_[1]->get(at("R001", "C0001")) == on_card("C0001"));
      EXPECT_TRUE(check_safe().safe);
    }
}

TEST(CardPriority, LetCardsGoBeforeCatchingUp) {
  CardPriority priority;
  {
    const CardPriority::Card card(priority);
    EXPECT_FALSE(priority.begin_catching_up());
  }
  const auto turn = priority.begin_catching_up();
  ASSERT_TRUE(turn);
  std::jthread card([&] { const CardPriority::Card visiting(priority); });
  while (!turn->stop_requested()) std::this_thread::yield();  // the card asks
  priority.end_catching_up();
}

}  // namespace
}  // namespace everytake
