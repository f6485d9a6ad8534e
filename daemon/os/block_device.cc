#include "os/block_device.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <linux/loop.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>

#include <algorithm>
#include <array>
#include <boost/filesystem.hpp>
#include <charconv>
#include <optional>
#include <set>
#include <string_view>

#include "os/posix_fs.h"
#include "os/small_file.h"

namespace everytake {
namespace {

namespace fs = boost::filesystem;

std::optional<std::uint64_t> number(std::string_view text) {
  std::uint64_t value = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (error != std::errc{} || end != text.data() + text.size()) return std::nullopt;
  return value;
}

// "8:17".
std::optional<dev_t> device_number(const std::string& text) {
  const auto colon = std::min(text.find(':'), text.size());
  const auto high = number(text.substr(0, colon)), low = number(text.substr(std::min(colon + 1, text.size())));
  if (!high || !low) return std::nullopt;
  return makedev(static_cast<unsigned>(*high), static_cast<unsigned>(*low));
}

// A layer that can't be told gives the device 0:0, which nothing is.
std::vector<dev_t> devices_below(const fs::path& node) {
  std::vector<dev_t> below;
  boost::system::error_code none;
  for (fs::directory_iterator it(node / "slaves", none), end; !none && it != end; it.increment(none))
    below.push_back(device_number(first_line(it->path() / "dev")).value_or(0));
  if (none) below.clear();
  return below;
}

bool is_kind(const std::string& name, std::initializer_list<std::string_view> prefixes) {
  return std::ranges::any_of(prefixes, [&](std::string_view prefix) { return name.starts_with(prefix); });
}

// "nvme0n1" and "nvme0n2" are parts of one drive, "nvme0".
std::string drive_of(const std::string& name) {
  if (!name.starts_with("nvme")) return name;
  const auto end = name.find_first_not_of("0123456789", 4);
  return name.substr(0, end);
}

// Drives that a server serves: iSCSI and Fibre Channel show in the path, NVMe names its transport.
bool is_remote(const fs::path& node) {
  for (const auto& part : node)
    if (is_kind(part.string(), {"session", "rport-"})) return true;
  static const std::set<std::string> kNear{"", "pcie", "apple-nvme"};
  boost::system::error_code none;
  for (fs::directory_iterator it(node / "device", none), end; !none && it != end; it.increment(none))
    if (is_kind(it->path().filename().string(), {"nvme"}) && !kNear.count(first_line(it->path() / "transport")))
      return true;
  return !kNear.count(first_line(node / "device/transport"));
}

BlockDevice::Kind kind_of(const fs::path& node, const std::string& name) {
  using enum BlockDevice::Kind;
  if (is_kind(name, {"ram", "zram"})) return memory;
  const bool drive = is_kind(name, {"sd", "hd", "vd", "xvd", "sr", "nvme", "mmcblk", "pmem"});
  return drive && !is_remote(node) ? disk : other;
}

// The states of a SCSI disk and of an NVMe controller that nothing is read in (kernel: sdev_states, nvme_ctrl_state).
bool is_dead_state(const std::string& state) {
  static const std::set<std::string> kDead{"offline", "transport-offline", "cancel",          "deleted",
                                           "dead",    "deleting",          "deleting (no IO)"};
  return kDead.count(state) > 0;
}

std::string death_of(const fs::path& part, const fs::path& disk, const std::string& name) {
  for (const auto& node : {part, disk})
    if (first_line(node / "size") == "0") return fmt::format("no medium is in {} any more", name);
  const auto state = first_line(disk / "device/state");
  return is_dead_state(state) ? fmt::format("{} does not answer: the system calls it {}", name, state) : "";
}

// What the driver itself says it holds open: the path that it tells may be another file by now.
std::optional<loop_info64> loop_status(const std::string& name, dev_t device) {
  const Descriptor loop(::open(("/dev/" + name).c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK));
  struct stat node {};
  loop_info64 info{};
  if (loop.get() < 0 || ::fstat(loop.get(), &node) != 0 || !S_ISBLK(node.st_mode) || node.st_rdev != device)
    return std::nullopt;
  if (::ioctl(loop.get(), LOOP_GET_STATUS64, &info) != 0) return std::nullopt;
  return info;
}

bool is_cut_off(const struct stat& image, const loop_info64& info, std::uint64_t device_bytes) {
  constexpr std::uint64_t kSector = 512;  // a file's last part of a sector is no part of the device
  const auto size = static_cast<std::uint64_t>(image.st_size);
  return S_ISREG(image.st_mode) &&
         (size < info.lo_offset || (size - info.lo_offset) / kSector * kSector < device_bytes);
}

// Its image, where the path told still leads to the file that the driver holds.
void look_at_loop(BlockDevice& loop, const fs::path& node, const std::string& image) {
  loop.kind = BlockDevice::Kind::image;
  struct stat status {};
  constexpr std::string_view kDeleted = " (deleted)";
  const bool there = ::stat(image.c_str(), &status) == 0;
  if (!there && image.ends_with(kDeleted)) loop.dead = fmt::format("the image beneath {} is deleted", loop.name);
  const auto info = loop_status(loop.name, device_number(first_line(node / "dev")).value_or(0));
  if (!there || !info || info->lo_device != status.st_dev || info->lo_inode != status.st_ino) return;
  loop.image = image;
  constexpr std::uint64_t kSector = 512;  // the unit of /sys/block/…/size
  if (is_cut_off(status, *info, number(first_line(node / "size")).value_or(0) * kSector))
    loop.dead = fmt::format("the image beneath {} is cut off", loop.name);
}

}  // namespace

BlockDevice look_at_block_device(dev_t device) {
  boost::system::error_code none;
  BlockDevice found;
  const auto part = fs::canonical(fmt::format("/sys/dev/block/{}:{}", major(device), minor(device)), none);
  if (none) {
    found.dead = fmt::format("its device ({}:{}) is gone", major(device), minor(device));
    return found;
  }
  const auto node = fs::exists(part / "partition", none) ? part.parent_path() : part;
  found.name = drive_of(node.filename().string());
  found.dead = death_of(part, node, found.name);
  found.below = devices_below(node);
  if (const auto image = first_line(node / "loop/backing_file"); !image.empty())
    look_at_loop(found, node, image);
  else
    found.kind = found.below.empty() ? kind_of(node, found.name) : BlockDevice::Kind::layer;
  return found;
}

}  // namespace everytake
