#include "support/mount/images.h"

#include <fcntl.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include <boost/filesystem.hpp>

#include "support/rooms.h"
#include "support/shell.h"

namespace everytake::test {

Images::~Images() {
  for (auto it = mounted_.rbegin(); it != mounted_.rend(); ++it) shell("umount -l " + quoted(*it));
  // The kernel keeps a partition that was added by hand, and has it again with the device's next file.
  for (const auto& device : attached_) shell("delpart " + device + " 1; losetup -d " + device);
}

bool Images::make_and_mount(const Path& image, const std::string& make, const Path& point, const std::string& options) {
  boost::filesystem::create_directories(image.parent_path());
  return own_mounts() && shell("truncate -s 400M " + quoted(image) + " && " + make + " " + quoted(image)).exit == 0 &&
         mount(image, point, options);
}

bool Images::mount(const Path& image, const Path& point, const std::string& options) {
  return mount_by("mount -o loop" + options + " " + quoted(image) + " " + quoted(point), point);
}

bool Images::mount_by(const std::string& command, const Path& point) {
  boost::filesystem::create_directories(point);
  if (!own_mounts() || shell(command).exit != 0) return false;
  mounted_.push_back(point);
  return true;
}

void Images::unmount(const Path& point) {
  EXPECT_EQ(shell("umount " + quoted(point)).exit, 0);
  std::erase(mounted_, point);
}

std::string Images::attach(const Path& image) {
  boost::filesystem::create_directories(image.parent_path());
  auto made = shell("truncate -s 400M " + quoted(image) + " && losetup --find --show " + quoted(image));
  if (made.exit != 0) return "";
  made.out.erase(made.out.find('\n'));
  return attached_.emplace_back(made.out);
}

void shut_down(const Path& mounted) {
  constexpr unsigned long kShutDown = _IOR('X', 125, std::uint32_t);
  std::uint32_t without_flushing = 2;
  const int fd = ::open(mounted.c_str(), O_RDONLY | O_CLOEXEC);
  EXPECT_EQ(::ioctl(fd, kShutDown, &without_flushing), 0);
  ::close(fd);
}

}  // namespace everytake::test
