// The real program, held at a chosen call by the filesystem below it.
#pragma once

#include <functional>
#include <thread>

#include "support/mount/mounted_shoot.h"
#include "support/rooms.h"

namespace everytake::test {

class HeldProgram : public MountedShoot {
 protected:
  // Runs the program's `command`, started `by` another where one is named, and does `something` with its process while
  // a call to the filesystem waits by `rule`.
  Ran held(const std::string& rule, const std::string& command, const std::function<void(pid_t)>& something,
           const std::string& by = "") {
    const auto number = dir_ / "process";
    mount_->rules(rule);
    Ran ran;
    std::thread running([&] {
      ran = shell("echo $$ >" + quoted(number) + "; exec " + by + program() + " --shoot " + quoted(shoot_) + " " +
                  command);
    });
    mount_->await_stall();
    something(std::stoi(get_file(number)));
    mount_->rules("");
    running.join();
    return ran;
  }
  static constexpr const char* kHeldAtTheCard = "read C0002.MP4 stall at=500000";
};

}  // namespace everytake::test
