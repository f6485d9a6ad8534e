// What an offload and a verdict say to a person.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cstdlib>
#include <ctime>

#include "cli/offload_report.h"
#include "cli/verdict.h"
#include "support/golden.h"
#include "support/rooms.h"

namespace everytake::cli {
namespace {

using namespace std::chrono_literals;
using test::expect_golden;

const Instant kNoon{std::chrono::sys_days{std::chrono::year{2026} / 3 / 14} + 12h};

// The words hold a local time; the tests' zone is UTC.
class Said : public testing::Test {
 protected:
  static void SetUpTestSuite() {
    ::setenv("TZ", "UTC", 1);
    ::tzset();
  }
};

IngestReport day_one() {
  IngestReport report;
  report.roll = "R001";
  report.root = "/media/TOLL-A";
  report.label = "TOLL-A";
  report.files = 42;
  report.bytes = 61'440'000'000;
  report.destinations = {{"desk", "/disks/desk", IngestReport::Destination::State::verified, 42, 61'440'000'000, 40, 2,
                          0, Evidence::direct},
                         {"shuttle", "/disks/shuttle", IngestReport::Destination::State::verified, 42, 61'440'000'000,
                          42, 0, 0, Evidence::dropped}};
  return report;
}

Verdict yes() {
  Verdict verdict;
  verdict.safe = true;
  verdict.roll = "R001";
  verdict.files = 42;
  verdict.destinations = {"desk", "shuttle"};
  verdict.oldest_read_back = kNoon;
  verdict.readings = 1;
  return verdict;
}

TEST_F(Said, OfAGoodOffload) {
  Clip clip;
  clip.name = "C0003";
  clip.facts.problems = {{ProblemCode::other_gamma, "", "", "C0003.MP4 is shot in rec709, the plan wants s-log3"}};
  expect_golden("offload.txt", offload_text(day_one(), yes(), {Clip{}, clip}, {}));
}

TEST_F(Said, OfAnOffloadThatIsShort) {
  auto report = day_one();
  report.destinations[1] = {
      "shuttle", "/disks/shuttle", IngestReport::Destination::State::failed, 7, 9'000'000'000, 7, 0,
      35,        Evidence::cached};
  for (int i = 1; i <= 14; ++i)
    report.problems.push_back(
        {ProblemCode::no_room, "", "shuttle", "C" + std::to_string(i) + ".MP4: destination \"shuttle\" is full"});
  Verdict no;
  no.files = 42;
  for (int i = 1; i <= 5; ++i)
    no.reasons.push_back(
        {ReasonCode::too_few_copies, "C000" + std::to_string(i) + ".MP4", "has 1 verified copy, 2 are needed"});
  no.reasons.push_back({ReasonCode::same_disk, "", "\"desk\" and \"shuttle\" are on one disk"});
  expect_golden("offload_short.txt", offload_text(report, no, {}, {}));
}

TEST_F(Said, OfADryRun) {
  auto report = day_one();
  report.roll.clear();
  expect_golden("offload_dry_run.txt", dry_run_text(report, {}));
}

TEST_F(Said, OfEveryByteReadTwiceOnDisksThatThePlanAccepts) {
  auto verdict = yes();
  verdict.every_byte = true;
  verdict.readings = 2;
  verdict.rests_on_cached = true;
  EXPECT_EQ(verdict_text(verdict, "/media/card", {}),
            "safe to wipe: 42 files, each read back from \"desk\" and \"shuttle\"\n"
            "  the oldest copy was read back at 2026-03-14 12:00:00; to read all again: everytake verify\n"
            "  the card's bytes read twice, the last time just now\n"
            "  the plan accepts a read-back that can't be shown to come from the disk\n"
            "  this holds for now: ask again after the card was in the camera\n");
}

TEST_F(Said, NeverSafeInColourAlone) {
  const auto no = verdict_text({}, "/media/card", {.colour = true});
  EXPECT_THAT(no, testing::HasSubstr("do not wipe this card"));
  EXPECT_EQ(no.find("safe"), std::string::npos);
}

}  // namespace
}  // namespace everytake::cli
