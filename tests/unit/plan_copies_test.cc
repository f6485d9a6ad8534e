#include "offload/plan_copies.h"
#include "support/rooms.h"

#include <gtest/gtest.h>

namespace everytake {
namespace {

FileToCopy file(std::int64_t id, std::uint64_t size, std::set<std::size_t> done = {}) {
  const Path path = "C000" + std::to_string(id) + ".MP4";
  return {FileId{id}, {path, size, {}}, Path("song/R001") / path, std::move(done)};
}

TargetRoom room(const std::string& name, std::uint64_t free) {
  Volume volume;
  volume.free_bytes = free;
  volume.total_bytes = 100'000'000;
  return {name, volume};
}

TEST(PlanCopies, TriesADiskThatTellsNoRoom) {
  const FileToCopy files[] = {file(1, 1000)};
  const TargetRoom targets[] = {{"desk", {}}};
  EXPECT_EQ(plan_copies(files, targets).jobs.size(), 1U);
}

TEST(PlanCopies, AsksOnlyForWhatIsMissing) {
  const FileToCopy files[] = {file(1, 1000, {0, 1}), file(2, 2000, {0}), file(3, 3000)};
  const TargetRoom targets[] = {room("desk", 50'000'000), room("shuttle", 50'000'000)};
  const auto plan = plan_copies(files, targets);
  ASSERT_EQ(plan.jobs.size(), 2U);
  EXPECT_EQ(plan.jobs[0].targets, (std::vector<std::size_t>{1}));
  EXPECT_EQ(plan.jobs[1].targets, (std::vector<std::size_t>{0, 1}));
  EXPECT_EQ(plan.bytes, (std::vector<std::uint64_t>{3000, 5000}));
  EXPECT_TRUE(plan.problems.empty());
}

TEST(PlanCopies, RefusesATargetThatCanNotHoldItAllAndKeepsTheOther) {
  const FileToCopy files[] = {file(1, 20'000'000)};
  const TargetRoom targets[] = {room("desk", 20'999'999), room("shuttle", 21'100'000)};  // 1 % of 100 MB stays free
  const auto plan = plan_copies(files, targets);
  EXPECT_EQ(plan.refused, (std::set<std::size_t>{0}));
  ASSERT_EQ(plan.problems.size(), 1U);
  EXPECT_EQ(plan.problems[0].code, ProblemCode::no_room);
  EXPECT_EQ(plan.jobs.at(0).targets, (std::vector<std::size_t>{1}));
}

// FAT keeps a file's size in 32 bits: 4 GiB - 1 at most (Microsoft, FAT32 File System Specification, 2000).
TEST(PlanCopies, RefusesAFileTooLargeForTheFilesystemBeforeTheFirstByte) {
  const FileToCopy files[] = {file(1, 4'294'967'296)};
  auto fat = room("stick", 100'000'000'000);
  fat.volume.largest_file = UINT32_MAX;
  const TargetRoom targets[] = {fat};
  const auto plan = plan_copies(files, targets);
  EXPECT_TRUE(plan.jobs.empty());
  EXPECT_EQ(plan.problems.at(0).code, ProblemCode::too_large);
}

TEST(PlanCopies, WantsNoRoomWhereNothingIsMissing) {
  const FileToCopy files[] = {file(1, 20'000'000, {0})};
  const TargetRoom targets[] = {room("desk", 0)};
  EXPECT_TRUE(plan_copies(files, targets).problems.empty());
}

}  // namespace
}  // namespace everytake
