// Real filesystems on images in a file, in mounts of the test's own, for as long as the object lives.
#pragma once

#include <gtest/gtest.h>

#include <string>
#include <vector>

#include "os/fs.h"
#include "support/rooms.h"

namespace everytake::test {

class Images {
 public:
  Images() = default;
  ~Images();
  Images(const Images&) = delete;
  Images& operator=(const Images&) = delete;

 protected:
  // A new filesystem in `image`, made by `make`, mounted at `point`. False where that can't be had.
  bool make_and_mount(const Path& image, const std::string& make, const Path& point, const std::string& options = "");
  bool mount(const Path& image, const Path& point, const std::string& options = "");
  // Whatever `command` mounts at `point`, a folder that is made for it.
  bool mount_by(const std::string& command, const Path& point);
  void unmount(const Path& point);
  // A loop device over `image`, which is made; "" where there is none. It goes with the object.
  std::string attach(const Path& image);

  std::vector<Path> mounted_;
  std::vector<std::string> attached_;
};

inline constexpr const char* kExt4 = "mkfs.ext4 -q -F";
inline constexpr const char* kXfs = "mkfs.xfs -q -f";

// xfs(5) and ext4 know this call as "go down": what is not on the disk is lost, and all later calls fail.
void shut_down(const Path& mounted);

#define EVERYTAKE_NEEDS_IMAGE(mounted) \
  if (!(mounted)) GTEST_SKIP() << "mounting an image needs root, loop devices and mkfs: nothing was tried"

}  // namespace everytake::test
