// The plan as it is edited while the daemon runs.
#include "service/live_plan.h"

#include <gtest/gtest.h>

#include <sstream>

#include "support/rooms.h"
#include "support/temp_dir.h"

namespace everytake {
namespace {

class Edited : public testing::Test {
 protected:
  static std::string plan(const std::string& desk, const std::string& section) {
    return "[shoot]\ntitle = \"Saltmarsh Radio\"\nframe_rate = \"25/1\"\n[song]\nlength = \"1:00\"\n" + section +
           "[[destination]]\nname = \"desk\"\npath = \"" + desk +
           "\"\n[[destination]]\nname = \"shuttle\"\npath = \"/media/shuttle\"\n";
  }
  void write(const std::string& text) { test::put_file(dir_ / kPlanFile, text); }
  std::size_t told(const std::string& words) const {
    const auto text = said_.str();
    std::size_t times = 0;
    for (auto at = text.find(words); at != std::string::npos; at = text.find(words, at + 1)) ++times;
    return times;
  }

  test::TempDir dir_;
  std::ostringstream said_;
  SystemClock clock_;
  Log log_{said_, clock_};
  const std::string good_ = "[[section]]\nname = \"Intro\"\nstart = 0\nend = 10\n";
  const std::string wrong_ = "[[section]]\nname = \"Intro\"\nstart = 20\nend = 10\n";
};

TEST_F(Edited, TakesDestinationsFromAPlanThatIsWrongElsewhereAndPlacesByTheLastWholeOne) {
  write(plan("/media/desk", good_));
  LivePlan plan_in_force(*load_shoot_for_copies(dir_.path()), log_);
  write(plan("/media/attic", wrong_));
  for (int i = 0; i < 2; ++i) {
    const auto now = plan_in_force.now();
    EXPECT_EQ(now.destinations.at(0).path, "/media/attic");
    ASSERT_EQ(now.sections.size(), 1U);
    EXPECT_EQ(now.sections[0].span.end, std::chrono::seconds(10));
    EXPECT_EQ(now.song.length, std::chrono::minutes(1));
  }
  EXPECT_EQ(told("shoot.toml:9:7"), 1U) << said_.str();
  write(plan("/media/cellar", good_));
  EXPECT_EQ(plan_in_force.now().destinations.at(0).path, "/media/cellar");
}

TEST_F(Edited, KeepsThePlanBeforeWhereCopiesRelyOnWhatIsWrong) {
  write(plan("/media/desk", good_));
  LivePlan plan_in_force(*load_shoot_for_copies(dir_.path()), log_);
  write(plan("media/attic", good_));
  const auto now = plan_in_force.now();
  EXPECT_EQ(now.destinations.at(0).path, "/media/desk");
  EXPECT_EQ(now.sections.size(), 1U);
  EXPECT_EQ(told("shoot.toml:12:8"), 1U) << said_.str();
}

TEST_F(Edited, HasNoSongWhereItWasNeverWhole) {
  write(plan("/media/desk", wrong_));
  LivePlan plan_in_force(*load_shoot_for_copies(dir_.path()), log_);
  EXPECT_EQ(plan_in_force.now().song.length, std::nullopt);
  EXPECT_TRUE(plan_in_force.now().sections.empty());
  write(plan("/media/desk", good_));
  EXPECT_EQ(plan_in_force.now().sections.size(), 1U);
}

}  // namespace
}  // namespace everytake
