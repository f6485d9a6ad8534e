// Who counts as alive, asked of real processes.
#include "pipeline/card_lock.h"
#include "support/rooms.h"

#include <gtest/gtest.h>
#include <sys/wait.h>
#include <unistd.h>

#include <utility>

namespace everytake {
namespace {

constexpr const char* kOtherBoot = "00000000-0000-4000-8000-000000000000";

std::string machine() {
  return std::string(this_process().machine());
}
std::string boot() {
  return this_process().boot.substr(machine().size() + 1);
}

TEST(CardLock, KnowsThisProcessAsALivingOne) {
  EXPECT_TRUE(is_alive(this_process()));
  EXPECT_FALSE(machine().empty());
  auto another = this_process();
  ++another.born;  // its number was used before
  EXPECT_FALSE(is_alive(another));
}

// Killed, and its parent has not asked yet how it ended: it will never give the card back.
TEST(CardLock, TakesAProcessThatOnlyWaitsToBeAskedForADeadOne) {
  int ends[2];
  ASSERT_EQ(::pipe(ends), 0);
  const auto child = ::fork();
  ASSERT_GE(child, 0);
  if (child == 0) {
    const auto born = this_process().born;
    ::_exit(::write(ends[1], &born, sizeof born) == sizeof born ? 0 : 1);
  }
  Holder holder{child, this_process().boot, 0};
  ASSERT_EQ(::read(ends[0], &holder.born, sizeof holder.born), ssize_t{sizeof holder.born});
  siginfo_t ended{};
  ASSERT_EQ(::waitid(P_PID, static_cast<id_t>(child), &ended, WEXITED | WNOWAIT), 0);
  EXPECT_FALSE(is_alive(holder));
  EXPECT_EQ(::waitpid(child, nullptr, 0), child);
  EXPECT_FALSE(is_alive(holder));
  ::close(ends[0]);
  ::close(ends[1]);
}

TEST(CardLock, CountsAProcessOfAnotherMachineAsAlive) {
  std::string boot = "studio-b#0011/";
  boot += kOtherBoot;
  const Holder there{this_process().pid, boot, 1};
  EXPECT_TRUE(is_alive(there));
  EXPECT_FALSE(is_of_this_machine(there));
}

TEST(CardLock, CountsWhatAnEarlierBootOfThisMachineLeftAsDead) {
  EXPECT_FALSE(is_alive({this_process().pid, machine() + "/" + kOtherBoot, this_process().born}));
  // It goes by another name since.
  if (const auto number = machine().find('#'); number != std::string::npos) {
    EXPECT_FALSE(is_alive({1, "old-name" + machine().substr(number) + "/" + kOtherBoot, 1}));
  }
}

// As a version wrote them that knew no machines: with the line feed of the file they come from.
TEST(CardLock, TakesRowsWithoutAMachineForThisMachines) {
  EXPECT_TRUE(is_alive({this_process().pid, boot() + "\n", this_process().born}));
  EXPECT_FALSE(is_alive({this_process().pid, std::string(kOtherBoot) + "\n", this_process().born}));
}

}  // namespace
}  // namespace everytake
