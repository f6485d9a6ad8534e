#include "os/disk_layers.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <linux/btrfs.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>

#include <array>
#include <cstring>
#include <optional>
#include <set>

#include "base/text.h"
#include "os/block_device.h"
#include "os/mounts.h"
#include "os/posix_fs.h"

namespace everytake {
namespace {

constexpr int kDeepest = 16;  // layers: as an image in an image; nobody builds so many

// Filesystems that lie on the one device that stat() tells. f2fs and bcachefs may span more and tell none of them.
bool lies_on_one_device(const std::string& type) {
  static const std::set<std::string> kTypes{"ext2",  "ext3",    "ext4", "xfs",     "vfat", "msdos",   "exfat",   "ntfs",
                                            "ntfs3", "fuseblk", "udf",  "iso9660", "hfs",  "hfsplus", "squashfs"};
  return kTypes.count(type) > 0;
}

bool is_network(const std::string& type) {
  return type.starts_with("nfs") || type == "cifs" || type == "smb3";
}

// "192.0.2.7" where the mount tells it; else its name, of "server:/share" or "//server/share".
std::string server_of(const Mount& mount) {
  if (const auto address = values_of(mount.super_options, "addr"); !address.empty()) return address.front();
  const std::size_t begin = mount.source.starts_with("//") ? 2 : 0;
  const auto end = mount.source.find(begin > 0 ? '/' : ':', begin);
  return mount.source.substr(begin, end == std::string::npos ? end : end - begin);
}

// overlayfs writes its folders with ':' between them; one in a name has a backslash before it, as a comma has.
std::vector<std::string> overlay_folders(const std::string& value) {
  std::vector<std::string> folders(1);
  for (std::size_t i = 0; i < value.size(); ++i) {
    if (value[i] == '\\' && i + 1 < value.size())
      folders.back() += value[++i];
    else if (value[i] == ':')
      folders.emplace_back();
    else
      folders.back() += value[i];
  }
  std::erase(folders, "");  // "::" stands before layers of data alone
  return folders;
}

class Walk {
 public:
  Layers run(int fd) {
    file(fd, 0);
    return std::move(found_);
  }

 private:
  void unknown() { found_.disks.known = false; }
  void dies(const std::string& why) {
    if (found_.dead.empty()) found_.dead = why;
  }

  void file(int fd, int depth) {
    struct stat status {};
    const auto mount = mount_of(fd);
    if (depth > kDeepest || ::fstat(fd, &status) != 0 || !mount) return unknown();
    if (mount->type == "btrfs") return btrfs(fd, depth);
    if (mount->type == "overlay") return overlay(*mount, depth);
    if (mount->type == "tmpfs" || mount->type == "ramfs") return name("memory");
    if (is_network(mount->type)) {
      name("server " + server_of(*mount));
      return unknown();
    }
    if (major(status.st_dev) == 0) {
      source(*mount, depth);
      return unknown();
    }
    device(status.st_dev, depth + 1);
    if (!lies_on_one_device(mount->type)) unknown();
    for (const char* more : {"logdev", "rtdev"})
      for (const auto& path : values_of(mount->super_options, more)) device_at(path, depth);
  }

  void name(const std::string& disk) { found_.disks.names.insert(disk); }

  // What it says to be mounted from, where that is a device.
  void source(const Mount& mount, int depth) {
    struct stat node {};
    if (mount.source.starts_with('/') && ::stat(mount.source.c_str(), &node) == 0 && S_ISBLK(node.st_mode))
      device(node.st_rdev, depth + 1);
  }

  void device_at(const std::string& path, int depth) {
    struct stat node {};
    if (::stat(path.c_str(), &node) != 0 || !S_ISBLK(node.st_mode)) return unknown();
    device(node.st_rdev, depth + 1);
  }

  // O_NONBLOCK: a pipe in its place must not hang us.
  void path(const Path& path, int depth) {
    struct stat node {};
    if (path.is_absolute() && ::stat(path.c_str(), &node) == 0 && S_ISBLK(node.st_mode))
      return device(node.st_rdev, depth + 1);
    const Descriptor fd(path.is_absolute() ? ::open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK) : -1);
    if (fd.get() < 0) return unknown();
    file(fd.get(), depth + 1);
  }

  void device(dev_t number, int depth) {
    if (depth > kDeepest) return unknown();
    const auto device = look_at_block_device(number);
    if (!device.dead.empty()) dies(device.dead);
    switch (device.kind) {
      case BlockDevice::Kind::disk:
        return name(device.name);
      case BlockDevice::Kind::memory:
        return name("memory");
      case BlockDevice::Kind::layer:
        for (const auto below : device.below) this->device(below, depth + 1);
        return;
      case BlockDevice::Kind::image:
        return device.image.empty() ? unknown() : path(device.image, depth);
      case BlockDevice::Kind::other:
        if (!device.name.empty()) name(device.name);
        return unknown();
    }
  }

  // btrfs(5), ioctls of linux/btrfs.h: ids may have gaps, where devices were taken out.
  void btrfs(int fd, int depth) {
    btrfs_ioctl_fs_info_args whole{};
    if (::ioctl(fd, BTRFS_IOC_FS_INFO, &whole) != 0) return unknown();
    constexpr std::uint64_t kMostIds = 1 << 16;  // asked one by one
    std::uint64_t met = 0;
    for (std::uint64_t id = 0; id <= whole.max_id && id < kMostIds; ++id) {
      btrfs_ioctl_dev_info_args one{};
      one.devid = id;
      if (::ioctl(fd, BTRFS_IOC_DEV_INFO, &one) != 0) continue;
      ++met;
      const auto* text = reinterpret_cast<const char*>(one.path);
      btrfs_device({text, strnlen(text, sizeof one.path)}, depth);
    }
    if (met < whole.num_devices) unknown();
  }

  void btrfs_device(const std::string& path, int depth) {
    struct stat node {};
    if (::stat(path.c_str(), &node) == 0) return device_at(path, depth);
    dies(fmt::format("one of its devices ({}) is gone", path.empty() ? "without a name" : shown(path)));
    unknown();
  }

  // Whether what lies at `path` was mounted later than `mount`: mounts are listed in the order of their coming.
  static bool is_mounted_after(const Path& path, const Mount& mount) {
    const Descriptor fd(::open(path.c_str(), O_PATH | O_CLOEXEC));
    const auto there = mount_of(fd.get());
    const auto table = read_mounts();
    if (!there || !table) return true;
    for (const auto& each : *table)
      if (each.id == mount.id || each.id == there->id) return each.id == mount.id && there->id != mount.id;
    return true;
  }

  void overlay(const Mount& mount, int depth) {
    std::size_t layers = 0;
    for (const char* key : {"upperdir", "lowerdir", "lowerdir+", "datadir+"})
      for (const auto& value : values_of(mount.super_options, key))
        for (const auto& folder : overlay_folders(value)) {
          path(folder, depth);
          if (is_mounted_after(folder, mount)) unknown();  // the path leads elsewhere than it did then
          ++layers;
        }
    if (layers == 0) unknown();
  }

  Layers found_{.disks = {.names = {}, .known = true}, .dead = ""};
};

}  // namespace

Layers layers_beneath(int fd) {
  return Walk().run(fd);
}

}  // namespace everytake
