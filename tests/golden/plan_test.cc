#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "base/json.h"
#include "support/call.h"
#include "support/golden.h"
#include "support/rooms.h"

namespace everytake {
namespace {

using test::call;
using test::expect_golden;
using test::get_file;
using test::put_file;
using test::TempDir;
using testing::HasSubstr;

const Path kGolden = Path(EVERYTAKE_SOURCE_DIR) / "tests/golden";

TEST(PlanCommand, PrintsSectionsAndDestinationsIn80Columns) {
  const TempDir shoot;
  put_file(shoot / "shoot.toml", get_file(kGolden / "saltmarsh.toml"));
  const auto called = call({"plan"}, shoot.path());
  EXPECT_EQ(called.exit, 0);
  expect_golden("plan.txt", called.out);
}

TEST(PlanCommand, RemarksOnWhatIsNotThereNowOnErr) {
  const TempDir shoot;
  put_file(shoot / "shoot.toml", get_file(kGolden / "saltmarsh.toml"));
  const auto called = call({"plan"}, shoot.path());
  EXPECT_THAT(called.err, HasSubstr("saltmarsh-radio.wav is not there"));
  EXPECT_THAT(called.err, HasSubstr("destination \"desk\": "));
  EXPECT_THAT(called.err, HasSubstr("destination \"shuttle\": "));
  EXPECT_EQ(call({"plan", "--quiet"}, shoot.path()).err, "");
}

TEST(PlanCommand, WarnsOfTwoDestinationsOnOneDisk) {
  const TempDir shoot, disk;
  put_file(disk / "a/x", "");
  put_file(disk / "b/x", "");
  auto text = get_file(kGolden / "saltmarsh.toml");
  text.replace(text.find("/nowhere/desk/footage"), 21, (disk / "a").string());
  text.replace(text.find("/nowhere/shuttle/footage"), 24, (disk / "b").string());
  put_file(shoot / "shoot.toml", text);
  const auto called = call({"plan"}, shoot.path());
  EXPECT_EQ(called.exit, 0);
  EXPECT_THAT(called.err, HasSubstr("same_disk"));
}

TEST(PlanCommand, GivesEverySectionAsJson) {
  const TempDir shoot;
  put_file(shoot / "shoot.toml", get_file(kGolden / "saltmarsh.toml"));
  const auto json = Json::parse(call({"plan", "--json"}, shoot.path()).out);
  EXPECT_EQ(json["schema"], 1);
  EXPECT_EQ(json["song"]["length_s"], 128.0);
  ASSERT_EQ(json["sections"].size(), 6U);
  EXPECT_EQ(json["sections"][2], Json::parse(R"({"name":"Chorus 1","start_s":30.0,"end_s":50.0,"first_bar":13,"bars":8,
                            "members":["Ada","Jonas","Mirjam","Tobias"],
                            "want":{"takes":5,"b_roll":2,"slow_mo":1,"looks":2}})"));
  EXPECT_EQ(json["sections"][4]["first_bar"], nullptr);
  EXPECT_EQ(json["destinations"][0]["present"], false);
  EXPECT_EQ(json["remarks"].size(), 3U);
}

TEST(PlanCommand, TellsEveryErrorAndExits3) {
  const TempDir shoot;
  put_file(shoot / "shoot.toml", "[shoot]\ntitel = \"x\"\n");
  const auto called = call({"plan", "--json"}, shoot.path());
  EXPECT_EQ(called.exit, 3);
  EXPECT_EQ(called.out, "");
  EXPECT_THAT(called.err, HasSubstr("shoot.toml:2:1: shoot: unknown key \"titel\" (did you mean \"title\"?)\n"));
  EXPECT_THAT(called.err, HasSubstr("there is no destination"));
}

TEST(PlanCommand, AcceptsWhatInitMade) {
  const TempDir dir;
  ASSERT_EQ(call({"init", "shoot"}, dir.path()).exit, 0);
  EXPECT_EQ(call({"plan", "--shoot", "shoot"}, dir.path()).exit, 0);
}

TEST(PlanCommand, RefusesAPlanThatIsNoText) {
  const TempDir dir;
  put_file(dir / "a/shoot.toml", std::string(2 << 20, '#'));
  EXPECT_EQ(call({"plan", "--shoot", "a"}, dir.path()).exit, 3);
  put_file(dir / "b/shoot.toml/x", "a folder in its place");
  EXPECT_EQ(call({"plan", "--shoot", "b"}, dir.path()).exit, 3);
}

}  // namespace
}  // namespace everytake
