#include "base/volume.h"

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
#include <boost/filesystem/fstream.hpp>
#include <cstring>
#include <optional>

#include "base/mounts.h"
#include "base/system_error.h"
#include "base/text.h"

namespace everytake {
namespace {

namespace fs = boost::filesystem;

// Linux 6.8: the filesystem's own UUID. Debian 12's headers do not have it yet.
struct FsUuid {
  std::uint8_t length;
  std::array<std::uint8_t, 16> bytes;
};
constexpr unsigned long kGetFsUuid = _IOR(0x15, 0, FsUuid);

std::optional<Mount> mount_with_id(std::uint64_t id) {
  const auto mounts = read_mounts();
  if (!mounts) return std::nullopt;
  const auto it = std::find_if(mounts->begin(), mounts->end(), [id](const Mount& mount) { return mount.id == id; });
  return it == mounts->end() ? std::nullopt : std::optional(*it);
}

std::string first_line(const fs::path& file) {
  fs::ifstream in(file);
  std::string line;
  std::getline(in, line);
  return line;
}

std::string disk_of_file(const fs::path& file);

// The disk beneath a block device: a partition's disk, what a mapped device is made of, what holds a loop's image.
std::string disk_of_device(unsigned major, unsigned minor) {
  boost::system::error_code none;
  auto node = fs::canonical(fmt::format("/sys/dev/block/{}:{}", major, minor), none);
  if (none) return "";
  if (fs::exists(node / "partition", none)) node = node.parent_path();
  if (const auto image = first_line(node / "loop/backing_file"); !image.empty()) return disk_of_file(image);
  std::string below;
  for (fs::directory_iterator it(node / "slaves", none), end; !none && it != end; it.increment(none)) {
    const auto device = first_line(it->path() / "dev");
    const auto colon = device.find(':');
    if (colon == std::string::npos) continue;
    const auto disk = disk_of_device(static_cast<unsigned>(std::stoul(device.substr(0, colon))),
                                     static_cast<unsigned>(std::stoul(device.substr(colon + 1))));
    below += (below.empty() ? "" : "+") + disk;
  }
  return below.empty() ? node.filename().string() : below;
}

// The mount's source, where it names a device: filesystems whose own device number is anonymous (btrfs, FUSE).
std::string disk_of_source(const Mount& mount) {
  struct stat node {};
  if (mount.source.starts_with('/') && ::stat(mount.source.c_str(), &node) == 0 && S_ISBLK(node.st_mode))
    return disk_of_device(major(node.st_rdev), minor(node.st_rdev));
  if (mount.type == "tmpfs" || mount.type == "ramfs") return "memory";
  if (mount.type.starts_with("nfs") || mount.type == "cifs" || mount.type == "smb3") {
    const bool share = mount.source.starts_with("//");
    return "server " + mount.source.substr(0, mount.source.find(share ? '/' : ':', share ? 2 : 0));
  }
  return "";
}

std::string disk_of(const struct stat& folder, const std::optional<Mount>& mount) {
  if (major(folder.st_dev) != 0) return disk_of_device(major(folder.st_dev), minor(folder.st_dev));
  return mount ? disk_of_source(*mount) : "";
}

std::optional<Mount> mount_of(int folder, const char* name) {
  struct statx status {};
  if (statx(folder, name, AT_EMPTY_PATH | AT_NO_AUTOMOUNT, STATX_MNT_ID, &status) != 0) return std::nullopt;
  return mount_with_id(status.stx_mnt_id);
}

std::string disk_of_file(const fs::path& file) {
  struct stat status {};
  if (::stat(file.c_str(), &status) != 0) return "";
  return disk_of(status, mount_of(AT_FDCWD, file.c_str()));
}

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

Result<Volume> volume_of(int folder) {
  struct stat status {};
  struct statfs space {};
  if (::fstat(folder, &status) != 0 || ::fstatfs(folder, &space) != 0)
    return tl::unexpected(system_error("can't ask the filesystem about itself", errno));
  const auto mount = mount_of(folder, "");
  Volume volume;
  volume.disk = disk_of(status, mount);
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
