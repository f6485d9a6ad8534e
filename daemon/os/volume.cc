#include "os/volume.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <linux/fs.h>
#include <linux/magic.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <sys/statfs.h>
#include <sys/statvfs.h>
#include <sys/sysmacros.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <boost/filesystem.hpp>
#include <cstring>
#include <optional>

#include "base/text.h"
#include "os/disk_layers.h"
#include "os/mounts.h"
#include "os/posix_fs.h"
#include "os/system_error.h"

namespace everytake {
namespace {

namespace fs = boost::filesystem;

// Linux 6.8: the filesystem's own UUID. Debian 12's headers do not have it yet.
struct FsUuid {
  std::uint8_t length;
  std::array<std::uint8_t, 16> bytes;
};
constexpr unsigned long kGetFsUuid = _IOR(0x15, 0, FsUuid);

// The name udev gives a device in /dev/disk/by-…, where udev runs.
std::string udev_name(const char* by, dev_t device) {
  boost::system::error_code none;
  for (fs::directory_iterator it(fmt::format("/dev/disk/{}", by), none), end; !none && it != end; it.increment(none)) {
    struct stat node {};
    if (::stat(it->path().c_str(), &node) == 0 && S_ISBLK(node.st_mode) && node.st_rdev == device)
      return it->path().filename().string();
  }
  return "";
}

std::string uuid_of(int folder, dev_t device) {
  FsUuid uuid{};
  const bool told = ::ioctl(folder, kGetFsUuid, &uuid) == 0 && uuid.length == uuid.bytes.size();
  if (told && uuid.bytes != decltype(uuid.bytes){}) {
    const auto hex = lower_hex({reinterpret_cast<const char*>(uuid.bytes.data()), uuid.bytes.size()});
    return fmt::format("{}-{}-{}-{}-{}", hex.substr(0, 8), hex.substr(8, 4), hex.substr(12, 4), hex.substr(16, 4),
                       hex.substr(20));
  }
  return udev_name("by-uuid", device);
}

std::string label_of(int folder, dev_t device) {
  std::array<char, FSLABEL_MAX> label{};
  if (::ioctl(folder, FS_IOC_GETFSLABEL, label.data()) == 0) return {label.data(), strnlen(label.data(), label.size())};
  return udev_name("by-label", device);
}

Path path_within(int folder, const Mount& mount) {
  boost::system::error_code none;
  const auto here = fs::read_symlink(fmt::format("/proc/self/fd/{}", folder), none);
  const auto below = fs::relative(here, mount.point, none);
  return none || below == "." ? Path(mount.root) : Path(mount.root) / below;
}

}  // namespace

bool tells_room(const Volume& volume) {
  return volume.total_bytes > 0;
}

bool keeps_file_numbers(const std::string& filesystem) {
  constexpr std::array<std::string_view, 6> kForgetful{"vfat", "msdos", "exfat", "cifs", "smb3", "9p"};
  return !filesystem.starts_with("fuse") && !filesystem.starts_with("ntfs") &&
         std::find(kForgetful.begin(), kForgetful.end(), filesystem) == kForgetful.end();
}

Result<Volume> volume_of(int folder) {
  struct stat status {};
  struct statfs space {};
  if (::fstat(folder, &status) != 0 || ::fstatfs(folder, &space) != 0)
    return tl::unexpected(system_error("can't ask the filesystem about itself", errno));
  const auto mount = mount_of(folder);
  Volume volume;
  volume.disks = layers_beneath(folder).disks;
  volume.uuid = uuid_of(folder, status.st_dev);
  volume.label = label_of(folder, status.st_dev);
  if (mount) {
    volume.filesystem = mount->type;
    volume.source = mount->source;
    volume.mount_point = mount->point;
    volume.within = path_within(folder, *mount);
  }
  const auto block = static_cast<std::uint64_t>(space.f_frsize ? space.f_frsize : space.f_bsize);
  volume.free_bytes = space.f_bavail * block;
  volume.total_bytes = space.f_blocks * block;
  if (space.f_type == MSDOS_SUPER_MAGIC) volume.largest_file = UINT32_MAX;  // FAT keeps sizes in 32 bits
  constexpr std::uint64_t kShortest = 12, kLongest = 255;                   // what else is told is no answer
  if (const auto longest = static_cast<std::uint64_t>(space.f_namelen); longest >= kShortest)
    volume.longest_name = std::min(longest, kLongest);
  volume.read_only = (space.f_flags & ST_RDONLY) != 0;
  return volume;
}

}  // namespace everytake
