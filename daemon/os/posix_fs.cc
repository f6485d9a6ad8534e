#include "os/posix_fs.h"

#include <dirent.h>
#include <fcntl.h>
#include <linux/magic.h>
#include <linux/openat2.h>
#include <sys/stat.h>
#include <sys/statfs.h>
#include <sys/syscall.h>
#include <unistd.h>

#include <algorithm>
#include <boost/filesystem.hpp>
#include <cerrno>
#include <cstring>

#include "base/text.h"
#include "os/posix_file.h"
#include "os/still_there.h"
#include "os/system_error.h"
#include "os/volume.h"

namespace everytake {
namespace {

tl::unexpected<Error> failed(const Path& path, const char* doing) {
  const int number = errno;
  return tl::unexpected(system_error(shown(path.string()) + ": can't " + doing, number));
}

FileType type_of(mode_t mode) {
  if (S_ISREG(mode)) return FileType::regular;
  if (S_ISDIR(mode)) return FileType::directory;
  if (S_ISLNK(mode)) return FileType::symlink;
  return FileType::other;
}

FileType type_of_entry(const dirent& entry, int folder) {
  switch (entry.d_type) {
    case DT_REG:
      return FileType::regular;
    case DT_DIR:
      return FileType::directory;
    case DT_LNK:
      return FileType::symlink;
    case DT_UNKNOWN:
      break;
    default:
      return FileType::other;
  }
  struct stat status {};
  if (::fstatat(folder, entry.d_name, &status, AT_SYMLINK_NOFOLLOW) != 0) return FileType::other;
  return type_of(status.st_mode);
}

// Without links a path leads out by its letters alone; what else the kernel calls EXDEV is a mount.
bool leads_out(const Path& path) {
  return path.is_absolute() || std::ranges::find(path, "..") != path.end();
}

tl::unexpected<Error> crosses(const Path& path) {
  return fail(Code::invalid,
              shown(path.string()) + ": another filesystem is mounted there; what it holds is not this disk's", EXDEV);
}

FileTime file_time(const timespec& t) {
  return FileTime(std::chrono::seconds(t.tv_sec) + std::chrono::nanoseconds(t.tv_nsec));
}

Result<void> check_names_a_file(const Path& path) {
  const auto leaf = path.filename();
  if (leaf.empty() || leaf == "." || leaf == "..")
    return fail(Code::invalid, shown(path.string()) + ": names no file", EINVAL);
  return {};
}

// Where the filesystem has no way to rename without replacing: a second name, which can't replace either.
Result<void> rename_by_link(int from_folder, const std::string& from, int to_folder, const std::string& to,
                            const Path& path) {
  if (::linkat(from_folder, from.c_str(), to_folder, to.c_str(), 0) == 0) {
    if (::unlinkat(from_folder, from.c_str(), 0) != 0) return failed(path, "remove its temporary name");
    return {};
  }
  if (errno == EEXIST) return failed(path, "take its name");
  // No links either (FAT): we are the only writer here, so looking first is as good as it gets.
  struct stat taken {};
  if (::fstatat(to_folder, to.c_str(), &taken, AT_SYMLINK_NOFOLLOW) == 0)
    return fail(Code::exists, shown(path.string()) + ": the name is taken", EEXIST);
  if (errno != ENOENT) return failed(path, "see whether its name is free");
  if (::renameat(from_folder, from.c_str(), to_folder, to.c_str()) != 0) return failed(path, "take its name");
  return {};
}

}  // namespace

Descriptor& Descriptor::operator=(Descriptor&& other) noexcept {
  std::swap(fd_, other.fd_);
  return *this;
}

Descriptor::~Descriptor() {
  if (fd_ >= 0) ::close(fd_);
}

int Descriptor::release() {
  return std::exchange(fd_, -1);
}

FileStat file_stat(const struct stat& status) {
  return {type_of(status.st_mode),
          static_cast<std::uint64_t>(status.st_size),
          file_time(status.st_mtim),
          file_time(status.st_ctim),
          status.st_dev,
          status.st_ino};
}

Result<std::unique_ptr<PosixFs>> PosixFs::open_at(const Path& root) {
  Descriptor fd(::open(root.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC));
  if (fd.get() < 0) return failed(root, "open the folder");
  boost::system::error_code none;
  auto path = boost::filesystem::absolute(root, none);
  if (none) return fail(Code::io, shown(root.string()) + ": can't tell which folder the program runs in");
  return std::unique_ptr<PosixFs>(new PosixFs(std::move(fd), std::move(path)));
}

Result<Descriptor> PosixFs::open_below(const Path& path, int flags, unsigned mode, const char* doing) const {
  open_how how{};
  how.flags = static_cast<std::uint64_t>(static_cast<unsigned>(flags | O_CLOEXEC));
  how.mode = mode;
  how.resolve = RESOLVE_BENEATH | RESOLVE_NO_SYMLINKS | RESOLVE_NO_MAGICLINKS | RESOLVE_NO_XDEV;
  const char* name = path.empty() ? "." : path.c_str();
  for (;;) {
    const long fd = ::syscall(SYS_openat2, root_.get(), name, &how, sizeof how);
    if (fd >= 0) return Descriptor(static_cast<int>(fd));
    if (errno == EXDEV && !leads_out(path)) return crosses(path);
    if (errno != EINTR && errno != EAGAIN) return failed(path, doing);
  }
}

// For reading, without the filesystem noting when; only the owner may ask for that.
Result<Descriptor> PosixFs::open_untouched(const Path& path, int flags) const {
  auto fd = open_below(path, flags | O_NOATIME);
  if (!fd && fd.error().number == EPERM) return open_below(path, flags);
  return fd;
}

Result<Descriptor> PosixFs::open_parent(const Path& path) const {
  TRY(check_names_a_file(path));
  return open_below(path.parent_path(), O_PATH | O_DIRECTORY);
}

Result<FileStat> PosixFs::stat(const Path& path) const {
  struct stat status {};
  if (path.empty()) {
    if (::fstat(root_.get(), &status) != 0) return failed(path, "look at the folder");
    return file_stat(status);
  }
  TRY(check_names_a_file(path));
  const auto fd = TRY(open_below(path, O_PATH | O_NOFOLLOW, 0, "look at it"));  // its name would tell no mount
  if (::fstat(fd.get(), &status) != 0) return failed(path, "look at it");
  return file_stat(status);
}

Result<std::vector<DirEntry>> PosixFs::list(const Path& folder) const {
  auto fd = TRY(open_untouched(folder, O_RDONLY | O_DIRECTORY));
  const auto close = [](DIR* dir) { ::closedir(dir); };
  const std::unique_ptr<DIR, decltype(close)> dir(::fdopendir(fd.get()), close);
  if (!dir) return failed(folder, "list the folder");
  fd.release();
  std::vector<DirEntry> entries;
  for (;;) {
    errno = 0;  // nullptr means both "no more" and "can't go on"
    const dirent* entry = ::readdir(dir.get());
    if (!entry && errno != 0) return failed(folder, "list all of the folder");
    if (!entry) return entries;
    const std::string_view name = entry->d_name;
    if (name != "." && name != "..") entries.push_back({std::string(name), type_of_entry(*entry, ::dirfd(dir.get()))});
  }
}

Result<std::unique_ptr<ReadFile>> PosixFs::open(const Path& path, Cache cache) const {
  constexpr int kFlags = O_RDONLY | O_NOFOLLOW | O_NONBLOCK;  // a FIFO put in its place must not hang us
  return PosixReadFile::over(TRY(open_untouched(path, kFlags)), path, cache);
}

Result<Volume> PosixFs::volume() const {
  return volume_of(root_.get());
}

Result<void> PosixFs::still_there() const {
  return folder_still_there(root_.get(), path_);
}

Result<std::unique_ptr<WriteFile>> PosixFs::create(const Path& path, std::uint64_t expected_size) {
  auto fd = TRY(open_below(path, O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW, 0644));
  return PosixWriteFile::over(std::move(fd), path, expected_size);
}

Result<void> PosixFs::make_folder(const Path& path) {
  const auto parent = TRY(open_parent(path));
  if (::mkdirat(parent.get(), path.filename().c_str(), 0755) != 0) return failed(path, "make the folder");
  return {};
}

Result<void> PosixFs::rename_new(const Path& from, const Path& to) {
  const auto from_folder = TRY(open_parent(from));
  const auto to_folder = TRY(open_parent(to));
  const std::string from_name = from.filename().string(), to_name = to.filename().string();
  if (::renameat2(from_folder.get(), from_name.c_str(), to_folder.get(), to_name.c_str(), RENAME_NOREPLACE) == 0)
    return {};
  if (errno == EINVAL || errno == ENOSYS || errno == EOPNOTSUPP)
    return rename_by_link(from_folder.get(), from_name, to_folder.get(), to_name, to);
  return failed(to, "take its name");
}

Result<void> PosixFs::replace(const Path& from, const Path& to) {
  const auto from_folder = TRY(open_parent(from));
  const auto to_folder = TRY(open_parent(to));
  if (::renameat(from_folder.get(), from.filename().c_str(), to_folder.get(), to.filename().c_str()) != 0)
    return failed(to, "replace it");
  return {};
}

Result<void> PosixFs::remove(const Path& path) {
  const auto parent = TRY(open_parent(path));
  if (::unlinkat(parent.get(), path.filename().c_str(), 0) != 0) return failed(path, "remove it");
  return {};
}

Result<void> PosixFs::sync_folder(const Path& path) {
  const auto folder = TRY(open_below(path, O_RDONLY | O_DIRECTORY));
  // Some network and FUSE filesystems have no such call for folders; they sync names by themselves or not at all.
  if (::fsync(folder.get()) != 0 && errno != EINVAL && errno != EOPNOTSUPP && errno != ENOSYS)
    return failed(path, "make its names durable");
  return {};
}

Result<void> PosixFs::sync_all() {
  if (::syncfs(root_.get()) != 0) return failed("", "make everything durable");
  return {};
}

bool PosixFs::tells_sync_errors() const {
  struct statfs status {};
  return ::fstatfs(root_.get(), &status) == 0 && status.f_type != FUSE_SUPER_MAGIC;
}

}  // namespace everytake
