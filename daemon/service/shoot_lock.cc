#include "service/shoot_lock.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/file.h>
#include <unistd.h>

#include <array>
#include <cerrno>

#include "base/text.h"
#include "os/system_error.h"

namespace everytake::service {
namespace {

constexpr const char* kLockFile = ".everytaked.lock";

// Who holds it, as that process wrote it down.
std::string holder_of(int file) {
  std::array<char, 24> text{};
  const auto count = ::pread(file, text.data(), text.size(), 0);
  return shown(std::string_view(text.data(), count > 0 ? static_cast<std::size_t>(count) : 0));
}

}  // namespace

Result<ShootLock> ShootLock::take(const Path& folder) {
  const auto path = folder / kLockFile;
  const auto name = shown(path.native());
  Descriptor file(::open(path.c_str(), O_RDWR | O_CREAT | O_CLOEXEC | O_NOFOLLOW, 0644));
  if (file.get() < 0) return tl::unexpected(system_error(name + ": can't open it", errno));
  if (::flock(file.get(), LOCK_EX | LOCK_NB) != 0) {
    if (errno != EWOULDBLOCK) return tl::unexpected(system_error(name + ": can't lock it", errno));
    return fail(Code::busy,
                fmt::format("another everytaked (process {}) works on the shoot in {}: let it go on, or stop "
                            "it first",
                            holder_of(file.get()), shown(folder.native())));
  }
  // Only for people: the lock itself is the kernel's.
  const auto self = std::to_string(::getpid());
  if (::ftruncate(file.get(), 0) != 0 || ::pwrite(file.get(), self.data(), self.size(), 0) < 0)
    return tl::unexpected(system_error(name + ": can't write to it", errno));
  return ShootLock(std::move(file));
}

}  // namespace everytake::service
