// What is said of the set while it is shot, and of the cameras' clocks.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "model.h"

namespace everytake {

using SetupId = Id<struct SetupTag>;

// What holds for everything recorded from `at` until the next setup. With all fields empty it only ends the one before.
struct Setup {
  SetupId id;
  Instant at{};
  std::optional<Kind> kind;
  std::vector<std::string> members;
  std::vector<std::string> sections;
  std::optional<std::string> look, angle;
  bool is_end() const { return !kind && members.empty() && sections.empty() && !look && !angle; }
};

// How far a camera's clock is ahead of this computer's, by which setups go; behind where negative.
struct CameraClock {
  std::string camera;  // as clips name it
  Micros ahead{};
  std::string known_by;  // "hand", "slate"
};

}  // namespace everytake
