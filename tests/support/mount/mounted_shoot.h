// A shoot whose card, or whose first destination, lies on a filesystem with faults.
#pragma once

#include <optional>

#include "support/mount/fault_mount.h"
#include "support/rooms.h"
#include "support/shoot_bench.h"

namespace everytake::test {

class MountedShoot : public ShootBench {
 protected:
  // The catalogue in memory: a kill or a fault elsewhere leaves it as it was, and its syncs would take most of the
  // time.
  MountedShoot() {
    shoot_ = memory_ / "shoot";
    put_file(shoot_ / "shoot.toml", plan_with_word());
    put("PRIVATE/M4ROOT/CLIP/C0001.MP4", 3'000'000);
    put("PRIVATE/M4ROOT/CLIP/C0001M01.XML", 900);
    put("PRIVATE/M4ROOT/CLIP/C0002.MP4", 1'500'000);
    put("PRIVATE/M4ROOT/CLIP/C0003.MP4", 700);
  }

  // No system can tell what lies beneath a driver in user space: the person says that "desk" has a disk of its own.
  std::string plan_with_word() const {
    auto text = plan();
    return text.insert(text.find("[[destination]]\nname = \"shuttle\""), "own_disk = true\n");
  }

  // The card, or "desk", through the filesystem with faults. False where that can't be had.
  bool mount_card(std::vector<std::string> options = {}) {
    mount_.emplace(card_, dir_ / "mounted", std::move(options));
    seen_card_ = mount_->path();
    return mount_->is_mounted();
  }
  bool mount_desk(std::vector<std::string> options = {}) {
    mount_.emplace(behind_desk_, desk_, std::move(options));
    return mount_->is_mounted();
  }

  std::string offload(const std::string& options = "") const {
    return "offload --no-study " + options + quoted(seen_card_);
  }
  bool is_safe() const {
    const auto exit = everytake("safe " + quoted(seen_card_)).exit;
    EXPECT_LT(exit, 128);
    return exit == 0;
  }

  Path roll_at(const Path& destination) const { return destination / "saltmarsh-radio/R001"; }

  // Every file of the card stands, with its bytes, in one of the shoot's rolls there.
  bool is_whole(const Path& destination) const {
    const auto lacks =
        shell("cd " + quoted(card_) + " && find . -type f | while IFS= read -r file; do ok=; for roll in " +
              quoted(destination) + "/saltmarsh-radio/R*/; do " +
              "cmp -s \"$file\" \"$roll/$file\" && ok=1; done; [ $ok ] || echo \"$file\"; done");
    return lacks.exit == 0 && lacks.out.empty();
  }

  // Under a final name lies what the card holds, or nothing.
  void expect_nothing_wrong_at(const Path& destination) const {
    const auto wrong = shell("cd " + quoted(roll_at(destination)) + " && find . -type f ! -name '*.everytake-part' | " +
                             "while IFS= read -r file; do cmp \"$file\" " + quoted(card_) + "/\"$file\"; done");
    EXPECT_EQ(wrong.out, "");
  }

  // With the fault gone another run brings all, and the card may be wiped.
  void expect_whole_later() const {
    const auto again = everytake(offload());
    EXPECT_EQ(again.exit, 0) << again.out << again.err;
    EXPECT_TRUE(is_whole(desk_));
    EXPECT_TRUE(is_whole(shuttle_.path()));
    EXPECT_EQ(shell("find " + quoted(desk_) + " " + quoted(shuttle_.path()) + " -name '*.everytake-part'").out, "");
    EXPECT_TRUE(is_safe());
  }

  // Whether a problem of that code stands in the report, about a path or message that holds `about`.
  static bool tells(const nlohmann::json& report, const std::string& code, const std::string& about = "") {
    for (const auto& problem : report["problems"])
      if (problem["code"] == code && problem.dump().find(about) != std::string::npos) return true;
    return false;
  }

  TempDir memory_{"/dev/shm"};
  Path seen_card_ = card_;  // as the program is told
  Path behind_desk_ = dir_ / "behind-desk";
  std::optional<FaultMount> mount_;
};

// Where there is no FUSE, or no right to mount.
#define EVERYTAKE_NEEDS_MOUNT(mounted) \
  if (!(mounted)) GTEST_SKIP() << "mounting by FUSE needs root and /dev/fuse: nothing was tried"

}  // namespace everytake::test
