// verify while a card is offloaded.
#include <gtest/gtest.h>

#include <boost/filesystem.hpp>

#include "support/mount/held_program.h"
#include "support/rooms.h"

namespace everytake {
namespace {

using test::quoted;
using test::shell;

class BesideAnOffload : public test::HeldProgram {
 protected:
  void offload_another_card() {
    shell("cp -r " + quoted(card_) + " " + quoted(dir_ / "A") + " && find " + quoted(dir_ / "A") +
          " -type f -exec sh -c 'echo of its own >> \"$1\"' - {} \\;");
    ASSERT_EQ(everytake("offload --no-study " + quoted(dir_ / "A")).exit, 0);
  }
};

TEST_F(BesideAnOffload, VerifyDoesTheOtherRollsAndNamesWhatItLeftOut) {
  EVERYTAKE_NEEDS_MOUNT(mount_card());
  offload_another_card();
  held(kHeldAtTheCard, offload(), [this](pid_t) {
    for (const auto& command : {"verify", "verify --repair"}) {
      const auto report = json(command);
      EXPECT_EQ(report["left_out"], nlohmann::json::array({"R002"})) << command;
      EXPECT_EQ(report["destinations"][0]["verified_files"], 4) << command;
      EXPECT_EQ(report["destinations"][0]["files"], 4) << command;
    }
    EXPECT_NE(everytake("verify").err.find("R002"), std::string::npos);
    EXPECT_EQ(json("verify R001")["left_out"], nlohmann::json::array());
    EXPECT_EQ(everytake("verify R002").exit, 1);
    EXPECT_EQ(everytake("verify R001 R002").exit, 1);
  });
  EXPECT_EQ(json("verify")["left_out"], nlohmann::json::array());
}

TEST_F(BesideAnOffload, VerifyAndRepairMendWhatCanBeHad) {
  EVERYTAKE_NEEDS_MOUNT(mount_card());
  offload_another_card();
  boost::filesystem::remove(roll_at(desk_) / "PRIVATE/M4ROOT/CLIP/C0001.MP4");
  held(kHeldAtTheCard, offload(), [this](pid_t) {
    const auto report = json("verify --repair");
    EXPECT_EQ(report["destinations"][0]["mended_files"], 1);
    EXPECT_EQ(report["left_out"], nlohmann::json::array({"R002"}));
  });
  EXPECT_TRUE(boost::filesystem::exists(roll_at(desk_) / "PRIVATE/M4ROOT/CLIP/C0001.MP4"));
}

TEST_F(BesideAnOffload, VerifyIsRefusedWhereThereIsNothingElse) {
  EVERYTAKE_NEEDS_MOUNT(mount_card());
  held(kHeldAtTheCard, offload(), [this](pid_t) { EXPECT_EQ(everytake("verify").exit, 1); });
}

}  // namespace
}  // namespace everytake
