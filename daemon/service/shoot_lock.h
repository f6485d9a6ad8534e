// One daemon at a time works on a shoot.
#pragma once

#include "os/posix_fs.h"

namespace everytake::service {

// Held until destroyed, or until the process ends in whatever way.
class ShootLock {
 public:
  // `busy`, naming the process, while another daemon holds the shoot in `folder`.
  static Result<ShootLock> take(const Path& folder);

 private:
  explicit ShootLock(Descriptor file) : file_(std::move(file)) {}
  Descriptor file_;
};

}  // namespace everytake::service
