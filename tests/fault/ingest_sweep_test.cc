// Fails every operation of a whole visit in turn, at the card and at a destination, carrying on and with a power cut
// there: the verdict must never be a wrong yes, and a second visit must bring everything.
#include <gtest/gtest.h>

#include "support/ingest_bench.h"
#include "support/rooms.h"

namespace everytake {
namespace {

using test::FaultFs;
using test::MemFs;

class IngestSweep : public test::IngestBench {
 protected:
  void start_anew() {
    for (auto& disk : disks_) disk = std::make_unique<MemFs>();
    catalogue_ = *Catalogue::open(dir_ / ("c" + std::to_string(++runs_) + ".sqlite"));
  }

  void expect_no_wrong_yes() {
    if (!check_safe().safe) return;
    for (const auto& disk : disks_)
      for (const char* clip : {"C0001", "C0002"})
        EXPECT_EQ(disk->get(at("R001", clip)), card_.get(Path("PRIVATE/M4ROOT/CLIP") / (std::string(clip) + ".MP4")));
  }

  void expect_whole_after_another_visit() {
    const auto again = offload();
    ASSERT_TRUE(again) << again.error().what;
    const auto verdict = check_safe();
    ASSERT_TRUE(verdict.safe) << verdict.reasons.at(0).message;
  }

  int runs_ = 0;
};

TEST_F(IngestSweep, GivesNoWrongYesWhicheverOperationOfADiskFails) {
  auto clean = open();
  const auto* counted = dynamic_cast<FaultFs*>(clean[0].fs.get());
  ASSERT_TRUE(Pipeline(*catalogue_, plan_, clock_).ingest({"/media/card", card_, *card_.volume()}, clean, {}, {}, {}));
  const auto operations = counted->operations();
  ASSERT_GT(operations.size(), 60U);
  for (const auto& operation : operations)
    for (const auto then : {FaultFs::Then::carry_on, FaultFs::Then::dead}) {
      SCOPED_TRACE(operation);
      start_anew();
      auto destinations = open();
      auto& disk = dynamic_cast<FaultFs&>(*destinations[0].fs);
      disk.fail_at(operation, Code::io, then);
      const auto report = Pipeline(*catalogue_, plan_, clock_).ingest(seen(card_), destinations, options_, {}, {});
      EXPECT_TRUE(disk.hit());
      EXPECT_TRUE(!report || !report->problems.empty() || check_safe().safe);  // told, or made good
      if (then == FaultFs::Then::dead) disks_[0]->crash(static_cast<unsigned>(runs_ % 3));
      expect_no_wrong_yes();
      expect_whole_after_another_visit();
    }
}

TEST_F(IngestSweep, GivesNoWrongYesWhicheverOperationOfTheCardFails) {
  FaultFs counted(card_);
  ASSERT_TRUE(offload(counted, open()));
  const auto operations = counted.operations();
  ASSERT_GT(operations.size(), 40U);
  for (const auto& operation : operations)
    for (const auto& [code, then] : {std::pair(Code::io, FaultFs::Then::carry_on), {Code::gone, FaultFs::Then::dead}}) {
      SCOPED_TRACE(operation);
      start_anew();
      FaultFs card(card_);
      card.fail_at(operation, code, then);
      (void)offload(card, open());
      EXPECT_TRUE(card.hit());
      expect_no_wrong_yes();
      expect_whole_after_another_visit();
    }
}

}  // namespace
}  // namespace everytake
