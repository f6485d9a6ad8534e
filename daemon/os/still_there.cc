#include "os/still_there.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <sys/statfs.h>

#include <cerrno>
#include <set>
#include <system_error>

#include "base/text.h"
#include "os/disk_layers.h"
#include "os/mounts.h"
#include "os/posix_fs.h"

namespace everytake {
namespace {

Result<void> gone(const Path& path, const std::string& why, int number = 0) {
  return fail(Code::gone, fmt::format("{}: {}", shown(path.string()), why), number);
}

Result<void> cannot_ask(const Path& path, int number) {
  return gone(path, "it can't be looked at any more: " + std::generic_category().message(number), number);
}

Result<void> leads_here(int folder, const Path& path) {
  struct stat held {
  }, named{};
  struct statfs space {};
  if (::fstat(folder, &held) != 0 || ::fstatfs(folder, &space) != 0) return cannot_ask(path, errno);
  const Descriptor now(::open(path.c_str(), O_PATH | O_DIRECTORY | O_CLOEXEC));
  if (now.get() < 0 && (errno == ENOENT || errno == ENOTDIR)) return gone(path, "nothing is there any more", errno);
  if (now.get() < 0 || ::fstat(now.get(), &named) != 0) return cannot_ask(path, errno);
  if (held.st_dev != named.st_dev || held.st_ino != named.st_ino) return gone(path, "another folder is there now");
  return {};
}

// Drivers that mount read-only whatever is asked: media that take no writes, and what Linux can't write safely.
bool decides_by_itself(const std::string& type) {
  static const std::set<std::string> kTypes{"squashfs", "erofs", "iso9660", "udf", "hfs", "hfsplus", "overlay"};
  return kTypes.count(type) > 0;
}

Result<void> takes_calls(const Path& path, const Mount& mount) {
  for (const char* word : {"shutdown", "emergency_ro"})  // ext4(5)
    if (has_option(mount.super_options, word))
      return gone(path, fmt::format("its filesystem has ended after an error ({})", word));
  const bool turned = has_option(mount.super_options, "ro") && has_option(mount.options, "rw");
  if (turned && !decides_by_itself(mount.type)) return gone(path, "an error has made its filesystem read-only");
  return {};
}

}  // namespace

Result<void> folder_still_there(int folder, const Path& path) {
  TRY(leads_here(folder, path));
  if (const auto mount = mount_of(folder)) TRY(takes_calls(path, *mount));
  if (const auto layers = layers_beneath(folder); !layers.dead.empty()) return gone(path, layers.dead);
  return {};
}

}  // namespace everytake
