// Shoots, destinations and cards in places where they do not belong, or are out of reach.
#include <gtest/gtest.h>

#include <boost/filesystem.hpp>

#include "support/mount/mounted_shoot.h"
#include "support/rooms.h"

namespace everytake {
namespace {

using test::quoted;
using test::shell;

class DeadServer : public test::MountedShoot {};

TEST_F(DeadServer, MakesItsDestinationAbsentAndTheOtherIsServed) {
  EVERYTAKE_NEEDS_MOUNT(mount_desk());
  mount_->die();
  const auto report = json(offload(), 6);
  EXPECT_EQ(report["destinations"][0]["state"], "failed");
  EXPECT_EQ(report["destinations"][1]["state"], "verified");
  EXPECT_TRUE(tells(report, "destination_absent"));
}

TEST_F(DeadServer, DoesNotKeepACatalogueFromBeingRebuiltFromTheOtherDisk) {
  EVERYTAKE_NEEDS_MOUNT(mount_desk());
  ASSERT_EQ(everytake(offload()).exit, 0);
  mount_->die();
  const auto ran =
      shell(program() + " --json --shoot " + quoted(memory_ / "new laptop") + " rebuild " + quoted(shuttle_.path()));
  EXPECT_EQ(ran.exit, 0) << ran.err;
  const auto report = nlohmann::json::parse(ran.out, nullptr, false);
  EXPECT_EQ(report["destination"], "shuttle");
  EXPECT_EQ(report["verified_files"], 4);
}

class OddPlaces : public test::ShootBench {
 protected:
  OddPlaces() { put("PRIVATE/M4ROOT/CLIP/C0001.MP4", 1000); }
};

TEST_F(OddPlaces, AShootThatLiesWhereItsCopiesGoIsRefused) {
  const auto plan_text = plan();
  for (const auto& shoot : {desk_ / "saltmarsh-radio", desk_ / "saltmarsh-radio/inner"}) {
    boost::filesystem::create_directories(shoot);
    test::put_file(shoot / "shoot.toml", plan_text);
    const auto to = " --shoot " + quoted(shoot);
    for (const auto& command :
         {program() + to + " offload " + quoted(card_), program() + to + " verify", program() + to + " verify --repair",
          quoted(Path(EVERYTAKE_BINARY_DIR) / "everytaked") + to + " --once"}) {
      const auto ran = shell(command);
      EXPECT_EQ(ran.exit, 3) << command << ran.err;
      EXPECT_NE(ran.err.find("keeps its copies"), std::string::npos) << command << ran.err;
    }
    EXPECT_EQ(shell("ls -A " + quoted(shoot)).out.find("catalogue"), std::string::npos);
  }
  EXPECT_EQ(shell("ls -A " + quoted(shuttle_.path())).out, "");
  // Beside them is no harm.
  const auto beside = desk_ / "the shoot";
  boost::filesystem::create_directories(beside);
  test::put_file(beside / "shoot.toml", plan_text);
  boost::filesystem::remove_all(desk_ / "saltmarsh-radio");
  EXPECT_EQ(shell(program() + " --shoot " + quoted(beside) + " offload " + quoted(card_)).exit, 0);
}

// As it is where the shoot's folder lies on a disk that two computers share.
TEST_F(OddPlaces, ACardThatAnotherComputerHasIsNotTakenFromIt) {
  ASSERT_EQ(everytake("offload --no-study " + quoted(card_)).exit, 0);
  const auto catalogue = "cd " + quoted(shoot_) + " && sqlite3 catalogue.sqlite ";
  ASSERT_EQ(shell(catalogue + "\"INSERT INTO lease (card, pid, since, boot, born) SELECT card, 7, 0, " +
                  "'studio-b#0011/an-id', 1 FROM roll\"")
                .exit,
            0);
  put("PRIVATE/M4ROOT/CLIP/C0002.MP4", 1000);
  const auto ran = everytake("offload --no-study " + quoted(card_));
  EXPECT_EQ(ran.exit, 1);
  EXPECT_NE(ran.err.find("on the computer \"studio-b\""), std::string::npos) << ran.err;
  EXPECT_EQ(json("status")["copying"][0]["machine"], "studio-b");
  ASSERT_NE(ran.err.find("sqlite3 catalogue.sqlite \"DELETE FROM lease\""), std::string::npos) << ran.err;
  ASSERT_EQ(shell(catalogue + "\"DELETE FROM lease\"").exit, 0);  // as it says
  EXPECT_EQ(everytake("offload --no-study " + quoted(card_)).exit, 0);
}

TEST_F(OddPlaces, NoCharacterThatATerminalObeysIsInTheJsonOfAnyCommand) {
  const std::string odd =
      "x\xc2\x9b"
      "2J\xe2\x80\xae\x7f\xd8\x9c\xef\xbb\xbfy";  // CSI, U+202E, DEL, U+061C, U+FEFF
  put(odd + ".MP4", 10);
  const auto ran = everytake("--json offload " + quoted(card_));
  EXPECT_EQ(ran.exit, 0) << ran.err;
  ASSERT_EQ(everytake("tag C0001 --note " + quoted(odd)).exit, 0);
  for (const auto& out : {ran.out, everytake("--json find").out, everytake("--json safe " + quoted(card_)).out})
    for (const char* raw : {"\xc2\x9b", "\xe2\x80\xae", "\x7f", "\xd8\x9c", "\xef\xbb\xbf"})
      EXPECT_EQ(out.find(raw), std::string::npos) << out;
  EXPECT_EQ(json("find --roll R001")["clips"][0]["note"], odd);
}

}  // namespace
}  // namespace everytake
