#include "pipeline/copy_progress.h"
#include "support/rooms.h"

#include <gtest/gtest.h>

namespace everytake {
namespace {

using namespace std::chrono_literals;

CopyGlance half_way() {
  CopyGlance glance{.roll = "R001", .read = 2'000'000'000, .to_read = 4'000'000'000, .targets = {}, .elapsed = 10s};
  glance.targets = {{"desk", 1'000'000'000, 4'000'000'000, {}}, {"shuttle", 2'000'000'000, 4'000'000'000, {}}};
  return glance;
}

// 4 GB at the 0.1 GB/s of the slower one, less the 10 s that have gone: 30 s.
TEST(ProgressText, TellsTheTimeThatTheSlowestNeeds) {
  EXPECT_EQ(progress_text(half_way()),
            "R001: 2.00 GB of 4.00 GB read, 200 MB/s, 30.0 s left; verified: desk 25 %, shuttle 50 %");
}

TEST(ProgressText, LeavesOutADiskThatGetsNothing) {
  auto glance = half_way();
  glance.targets[0].total = glance.targets[0].verified = 0;
  EXPECT_EQ(progress_text(glance), "R001: 2.00 GB of 4.00 GB read, 200 MB/s, 10.0 s left; verified: shuttle 50 %");
  glance.targets[1].total = glance.targets[1].verified = 0;  // only read a second time
  EXPECT_EQ(progress_text(glance), "R001: 2.00 GB of 4.00 GB read, 200 MB/s");
}

TEST(ProgressText, NamesADiskThatDoesNotAnswer) {
  auto glance = half_way();
  glance.targets[0].silent = 9s;
  EXPECT_EQ(progress_text(glance).find("answered"), std::string::npos);
  glance.targets[0].silent = 42s;
  EXPECT_TRUE(progress_text(glance).ends_with("shuttle 50 %; desk has not answered for 42 s")) << progress_text(glance);
}

}  // namespace
}  // namespace everytake
