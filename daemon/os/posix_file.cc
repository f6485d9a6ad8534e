#include "os/posix_file.h"

#include <fcntl.h>
#include <linux/magic.h>
#include <sys/syscall.h>
#include <sys/vfs.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <charconv>
#include <optional>
#include <string_view>

#include "base/text.h"
#include "os/system_error.h"

namespace everytake {
namespace {

// Below this a file is written through the cache: its reservation and its detour would cost more than they save.
constexpr std::uint64_t kSmall = 1 << 20;
// How much of a buffered file may wait in memory: enough to keep a disk busy, little enough to see errors early.
constexpr std::uint64_t kMostDirty = 64 << 20;
// The kernel's count may miss what it read ahead for another file (measured: never more than 1 %).
constexpr double kShareFromDevice = 0.98;

// Linux 6.5: what of a file is in the cache. Debian 12's headers do not have it yet.
constexpr long kCachestat = 451;
struct CachestatRange {
  std::uint64_t offset, length;
};
struct Cachestat {
  std::uint64_t cached, dirty, writeback, evicted, recently_evicted;
};

tl::unexpected<Error> failed(const Path& path, const char* doing) {
  const int number = errno;
  return tl::unexpected(system_error(shown(path.string()) + ": can't " + doing, number));
}

std::optional<Cachestat> cache_of(int fd) {
  CachestatRange whole{0, 0};
  Cachestat state{};
  if (::syscall(kCachestat, fd, &whole, &state, 0) != 0) return std::nullopt;
  return state;
}

// proc(5), /proc/thread-self/io: bytes this thread caused to be fetched from the storage layer.
std::optional<std::uint64_t> bytes_from_device() {
  thread_local const Descriptor io(::open("/proc/thread-self/io", O_RDONLY | O_CLOEXEC));
  char text[512];
  const ssize_t length = ::pread(io.get(), text, sizeof text, 0);
  if (length <= 0) return std::nullopt;
  const std::string_view view(text, static_cast<std::size_t>(length));
  constexpr std::string_view kField = "\nread_bytes: ";
  const auto at = view.find(kField);
  if (at == std::string_view::npos) return std::nullopt;
  std::uint64_t value = 0;
  std::from_chars(view.data() + at + kField.size(), view.data() + view.size(), value);
  return value;
}

bool set_direct(int fd, bool on) {
  const int flags = ::fcntl(fd, F_GETFL);
  return flags >= 0 && ::fcntl(fd, F_SETFL, on ? flags | O_DIRECT : flags & ~O_DIRECT) == 0;
}

// The kernel counts bytes that came from a server as bytes from a device.
bool is_served(decltype(statfs::f_type) type) {
  constexpr std::array<std::uint32_t, 5> kServed{NFS_SUPER_MAGIC, CIFS_SUPER_MAGIC, SMB2_SUPER_MAGIC, CEPH_SUPER_MAGIC,
                                                 AFS_FS_MAGIC};
  return std::ranges::find(kServed, static_cast<std::uint32_t>(type)) != kServed.end();
}

// Whether O_DIRECT, which `fd` has, is more than a word: ext4 takes it for files it journals, btrfs for files it packs,
// and both read them through the cache. Where the filesystem does not tell (statx(2), Linux 6.1) the first block is
// read twice: what a folder or a list of blocks costs is paid the first time, so what is counted then is the block
// itself.
bool reads_past_cache(int fd, bool can_be_counted) {
  struct statx status {};
  if (::statx(fd, "", AT_EMPTY_PATH, STATX_DIOALIGN, &status) == 0 && (status.stx_mask & STATX_DIOALIGN) != 0)
    return status.stx_dio_offset_align > 0;
  if (!can_be_counted) return false;
  alignas(kBlockAlign) std::array<std::byte, kBlockAlign> block;
  block.fill({});  // btrfs answers from the cache where a buffer's memory was never touched
  if (::pread(fd, block.data(), block.size(), 0) <= 0) return false;
  const auto before = bytes_from_device();
  const bool read = ::pread(fd, block.data(), block.size(), 0) > 0;
  const auto after = bytes_from_device();
  return read && before && after && *after > *before;
}

bool aligned(std::span<const std::byte> bytes) {
  return reinterpret_cast<std::uintptr_t>(bytes.data()) % kBlockAlign == 0;
}

}  // namespace

Result<std::unique_ptr<ReadFile>> PosixReadFile::over(Descriptor fd, const Path& path, Cache cache) {
  std::unique_ptr<PosixReadFile> file(new PosixReadFile(std::move(fd), path));
  struct stat status {};
  if (::fstat(file->fd_.get(), &status) != 0) return failed(path, "look at it");
  if (!S_ISREG(status.st_mode)) return fail(Code::invalid, shown(path.string()) + ": is no regular file");
  file->size_ = static_cast<std::uint64_t>(status.st_size);
  file->on_disk_ = static_cast<std::uint64_t>(status.st_blocks) * 512;
  file->measured_ = cache == Cache::avoid;
  if (file->measured_)
    file->leave_cache();
  else
    ::posix_fadvise(file->fd_.get(), 0, 0, POSIX_FADV_SEQUENTIAL);
  return file;
}

// Neither step proves anything by itself: another process may map the file, and a filesystem may take O_DIRECT and
// answer from memory all the same. What was achieved is measured, and evidence() tells.
void PosixReadFile::leave_cache() {
  auto state = cache_of(fd_.get());
  if (state && (state->dirty || state->writeback)) ::fsync(fd_.get());  // only clean pages can be dropped
  ::posix_fadvise(fd_.get(), 0, 0, POSIX_FADV_DONTNEED);
  state = cache_of(fd_.get());
  cache_was_empty_ = state && state->cached == 0;
  direct_ = set_direct(fd_.get(), true);
  struct statfs space {};
  const auto type = ::fstatfs(fd_.get(), &space) == 0 ? space.f_type : 0;
  served_ = is_served(type);
  past_cache_ = direct_ && reads_past_cache(fd_.get(), type != FUSE_SUPER_MAGIC);  // FUSE never counts
}

// As much of `buffer` as the file is known to fill, and a block at least: what a direct read is given beyond the end,
// the kernel clears, which for a small file costs more than reading it.
std::span<std::byte> PosixReadFile::useful(std::span<std::byte> buffer, std::uint64_t offset) const {
  const auto left = size_ - std::min(size_, offset);
  const auto whole = std::max<std::uint64_t>(1, (left + kBlockAlign - 1) / kBlockAlign) * kBlockAlign;
  return direct_ ? buffer.first(std::min<std::uint64_t>(buffer.size(), whole)) : buffer;
}

Result<std::size_t> PosixReadFile::read_some(std::span<std::byte> buffer, std::uint64_t offset) {
  buffer = useful(buffer, offset);
  for (;;) {
    const ssize_t count = ::pread(fd_.get(), buffer.data(), buffer.size(), static_cast<off_t>(offset));
    if (count >= 0) return static_cast<std::size_t>(count);
    if (errno == EINTR) continue;
    if (errno == EINVAL && direct_ && set_direct(fd_.get(), false)) {
      direct_ = past_cache_ = false;  // took the flag and refuses the read: unaligned, or not for this file
      continue;
    }
    return failed(path_, "read it");
  }
}

Result<std::size_t> PosixReadFile::read(std::span<std::byte> buffer, std::uint64_t offset) {
  const auto before = measured_ ? bytes_from_device() : std::nullopt;
  std::size_t total = 0;
  while (total < buffer.size()) {
    const std::size_t count = TRY(read_some(buffer.subspan(total), offset + total));
    total += count;
    if (count == 0) break;
    // The end, or a server that gave less than was asked: only the next read tells, and it starts at no block's edge.
    if (direct_ && count % kBlockAlign != 0) direct_ = !set_direct(fd_.get(), false);
  }
  const auto after = before ? bytes_from_device() : std::nullopt;
  if (before && after) from_device_ += *after - *before;
  read_ += total;
  return total;
}

Result<FileStat> PosixReadFile::stat() const {
  struct stat status {};
  if (::fstat(fd_.get(), &status) != 0) return failed(path_, "look at it");
  return file_stat(status);
}

Evidence PosixReadFile::evidence() const {
  if (read_ == 0) return Evidence::direct;  // nothing was read that could have come from elsewhere
  const auto must = static_cast<double>(std::min(read_, on_disk_)) * kShareFromDevice;
  const bool counted = on_disk_ > 0 && static_cast<double>(from_device_) >= must;
  // A count alone is no proof of few bytes: what was read ahead, or of the filesystem's own lists, is in it.
  if (counted && (past_cache_ || cache_was_empty_)) return served_ ? Evidence::dropped : Evidence::direct;
  return cache_was_empty_ ? Evidence::dropped : Evidence::cached;
}

Result<std::unique_ptr<WriteFile>> PosixWriteFile::over(Descriptor fd, const Path& path, std::uint64_t expected_size) {
  std::unique_ptr<PosixWriteFile> file(new PosixWriteFile(std::move(fd), path));
  if (expected_size >= kSmall) {
    // Never posix_fallocate: where the filesystem can't reserve, it would write the whole file once.
    if (::fallocate(file->fd_.get(), FALLOC_FL_KEEP_SIZE, 0, static_cast<off_t>(expected_size)) != 0 &&
        (errno == ENOSPC || errno == EDQUOT || errno == EFBIG))
      return failed(path, "make room for it");
    file->direct_ = set_direct(file->fd_.get(), true);
  }
  return file;
}

Result<void> PosixWriteFile::write_all(std::span<const std::byte> bytes) {
  while (!bytes.empty()) {
    const ssize_t count = ::write(fd_.get(), bytes.data(), bytes.size());
    if (count > 0) {
      bytes = bytes.subspan(static_cast<std::size_t>(count));
      written_ += static_cast<std::uint64_t>(count);
      if (direct_ && count % static_cast<ssize_t>(kBlockAlign) != 0) direct_ = !set_direct(fd_.get(), false);
      continue;
    }
    if (count == 0) return fail(Code::io, shown(path_.string()) + ": the disk takes no more bytes");
    if (errno == EINTR) continue;
    if (errno == EINVAL && direct_ && set_direct(fd_.get(), false)) {
      direct_ = false;
      continue;
    }
    return failed(path_, "write it");
  }
  return {};
}

Result<void> PosixWriteFile::append(std::span<const std::byte> bytes) {
  const std::size_t whole = direct_ && aligned(bytes) ? bytes.size() - bytes.size() % kBlockAlign : 0;
  if (whole > 0) TRY(write_all(bytes.first(whole)));
  if (whole == bytes.size()) return {};
  if (direct_) direct_ = !set_direct(fd_.get(), false);  // the last bytes fill no block
  TRY(write_all(bytes.subspan(whole)));
  return start_writeback();
}

// Keeps a buffered file from filling memory, and lets its errors show while they still help.
Result<void> PosixWriteFile::start_writeback() {
  if (written_ - handed_to_disk_ < kMostDirty) return {};
  constexpr unsigned kWait = SYNC_FILE_RANGE_WAIT_BEFORE | SYNC_FILE_RANGE_WRITE | SYNC_FILE_RANGE_WAIT_AFTER;
  if (::sync_file_range(fd_.get(), static_cast<off64_t>(handed_to_disk_),
                        static_cast<off64_t>(written_ - handed_to_disk_), kWait) != 0 &&
      errno != ESPIPE && errno != EINVAL && errno != ENOSYS)
    return failed(path_, "write it");
  handed_to_disk_ = written_;
  return {};
}

Result<void> PosixWriteFile::set_mtime(FileTime mtime) {
  const auto whole = std::chrono::floor<std::chrono::seconds>(mtime);
  const timespec time{whole.time_since_epoch().count(), (mtime - whole).count()};
  const timespec times[2] = {time, time};
  if (::futimens(fd_.get(), times) != 0) return failed(path_, "set its time");
  return {};
}

Result<void> PosixWriteFile::sync() {
  if (::fsync(fd_.get()) != 0) return failed(path_, "make it durable");
  return {};
}

Result<void> PosixWriteFile::close() {
  if (::close(fd_.release()) != 0 && errno != EINTR) return failed(path_, "close it");
  return {};
}

}  // namespace everytake
