// A clip's frames side by side.
#pragma once

#include <string>

#include "model.h"

namespace everytake::media {

struct Strip {
  std::string jpeg;  // empty where no frame can be decoded
  FramesSeen seen;
};

}  // namespace everytake::media
