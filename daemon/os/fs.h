// The only way to a disk, and the seam where tests put faults. A filesystem object is rooted at one folder: every
// path is relative to it, and none can lead out of it. Names are bytes.
#pragma once

#include <boost/filesystem/path.hpp>
#include <cstdint>
#include <memory>
#include <span>
#include <string>
#include <vector>

#include "base/clock.h"
#include "base/result.h"
#include "os/disks.h"

namespace everytake {

using Path = boost::filesystem::path;

// Buffers given to reads and appends start at this alignment and, but for a file's last one, are a multiple of it:
// then they can go to the device without a detour.
inline constexpr std::size_t kBlockAlign = 4096;

enum class FileType { regular, directory, symlink, other };

struct FileStat {
  FileType type = FileType::other;
  std::uint64_t size = 0;
  FileTime mtime{};
  FileTime ctime{};
  std::uint64_t device = 0;
  std::uint64_t inode = 0;
};

struct DirEntry {
  std::string name;
  FileType type = FileType::other;
};

// What lies beneath a folder. Text is empty where it is not known.
struct Volume {
  std::string filesystem;  // "ext4", "exfat", "fuse.sshfs"
  std::string uuid;        // of the filesystem
  std::string label;
  Disks disks;         // beneath it, through every layer
  std::string source;  // the device or share that is mounted
  Path mount_point;
  Path within;  // the folder's path inside the filesystem: "/" at its top
  std::uint64_t free_bytes = 0;
  std::uint64_t total_bytes = 0;
  std::uint64_t largest_file = UINT64_MAX;  // in bytes
  std::size_t longest_name = 255;           // in bytes: no Linux filesystem but FAT and its kin takes more
  bool read_only = false;
};

// Whether what was read came from the medium.
enum class Evidence {
  direct,   // the kernel counted the bytes as read from the device
  dropped,  // the cache was seen empty before; what a server or FUSE driver did is unknown
  cached,   // neither could be shown
};

enum class Cache {
  use,    // memory may answer, and nothing is measured
  avoid,  // read from the medium where that can be had; evidence() says whether it could
};

class ReadFile {
 public:
  virtual ~ReadFile() = default;
  // Fills `buffer` from `offset` on and returns how many bytes there were; fewer than asked only at the end.
  virtual Result<std::size_t> read(std::span<std::byte> buffer, std::uint64_t offset) = 0;
  virtual Result<FileStat> stat() const = 0;
  // Of everything read through this object until now.
  virtual Evidence evidence() const = 0;
};

// A new file under a temporary name. Whatever is not synced may be lost; a failed sync is final: the pages may be
// gone although the next sync says yes.
class WriteFile {
 public:
  virtual ~WriteFile() = default;
  virtual Result<void> append(std::span<const std::byte> bytes) = 0;
  virtual Result<void> set_mtime(FileTime mtime) = 0;
  virtual Result<void> sync() = 0;
  virtual Result<void> close() = 0;  // its error counts; the destructor closes without asking
};

class ReadFs {
 public:
  virtual ~ReadFs() = default;
  virtual Result<FileStat> stat(const Path& path) const = 0;  // of the link itself, where it is one
  // Everything in a folder but "." and "..", unsorted. A listing that breaks off is an error, never a short list.
  virtual Result<std::vector<DirEntry>> list(const Path& folder) const = 0;
  // Regular files only; anything else is `invalid`.
  virtual Result<std::unique_ptr<ReadFile>> open(const Path& path, Cache cache) const = 0;
  virtual Result<Volume> volume() const = 0;
  // That the folder is still what its path leads to, that its device exists, and that its filesystem was neither shut
  // down nor made read-only by an error. `gone` with the reason. Names and sizes may be told from memory long after a
  // disk died: this and a block read from the medium are what a verdict asks.
  virtual Result<void> still_there() const = 0;
};

class Fs : public ReadFs {
 public:
  // `exists` when the name is taken. `expected_size` is reserved where the filesystem can.
  virtual Result<std::unique_ptr<WriteFile>> create(const Path& path, std::uint64_t expected_size) = 0;
  virtual Result<void> make_folder(const Path& path) = 0;                 // one level; `exists` when it is there
  virtual Result<void> rename_new(const Path& from, const Path& to) = 0;  // `exists` when `to` is taken; never replaces
  virtual Result<void> replace(const Path& from, const Path& to) = 0;     // for our own notes beside the copies only
  virtual Result<void> remove(const Path& path) = 0;                      // a file
  virtual Result<void> sync_folder(const Path& path) = 0;                 // its names become durable
  virtual Result<void> sync_all() = 0;         // every byte and name written so far becomes durable
  virtual bool tells_sync_errors() const = 0;  // whether sync_all() would say so if it failed
};

}  // namespace everytake
