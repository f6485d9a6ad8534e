// What ends an offload: the real program, held at a chosen read by the filesystem below.
#include <gtest/gtest.h>

#include <csignal>

#include "support/mount/held_program.h"
#include "support/rooms.h"

namespace everytake {
namespace {

using test::quoted;

class Interrupted : public test::HeldProgram {};

TEST_F(Interrupted, EndsWhenItsTerminalIsClosedAndGoesOnNextTime) {
  EVERYTAKE_NEEDS_MOUNT(mount_card());
  const auto ran = held(kHeldAtTheCard, offload(), [](pid_t pid) {
    ::kill(pid, SIGHUP);
    ::kill(pid, SIGHUP);  // the shell passes it on as well
  });
  EXPECT_EQ(ran.exit, 143) << ran.err;
  EXPECT_FALSE(is_safe());
  expect_whole_later();
}

TEST_F(Interrupted, MindsNoClosedTerminalUnderNohup) {
  EVERYTAKE_NEEDS_MOUNT(mount_card());
  const auto ran = held(
      kHeldAtTheCard, offload(), [](pid_t pid) { ::kill(pid, SIGHUP); }, "nohup ");
  EXPECT_EQ(ran.exit, 0) << ran.err;
  EXPECT_TRUE(is_safe());
}

// A copy is only opened under its own name once it is verified: to be studied.
TEST_F(Interrupted, SaysWhyThereIsNoVerdictWhenStoppedWhileClipsAreStudied) {
  EVERYTAKE_NEEDS_MOUNT(mount_desk());
  const auto stop = [](pid_t pid) { ::kill(pid, SIGINT); };
  const auto command = "offload " + quoted(card_);
  const auto text = held("read C0001.MP4 stall", command, stop);
  EXPECT_EQ(text.exit, 130) << text.err;
  EXPECT_NE(text.out.find("stopped before the card was looked at again: ask \"everytake safe CARD\""),
            std::string::npos)
      << text.out;
  EXPECT_NE(text.out.find("do not wipe this card"), std::string::npos) << text.out;
  put("PRIVATE/M4ROOT/CLIP/C0004.MP4", 2000);
  const auto report = nlohmann::json::parse(held("read C0004.MP4 stall", "--json " + command, stop).out);
  EXPECT_FALSE(report["safe_to_wipe"]);
  EXPECT_TRUE(tells(report, "not_judged"));
}

}  // namespace
}  // namespace everytake
