// A folder of the real filesystem. No path leads out of it, no link is followed, and none crosses into what is mounted
// below it, be that another disk, a folder or a single file: `invalid`, with EXDEV (openat2, Linux 5.6).
#pragma once

#include <memory>

#include "os/fs.h"

namespace everytake {

// Owns a file descriptor.
class Descriptor {
 public:
  explicit Descriptor(int fd = -1) : fd_(fd) {}
  Descriptor(Descriptor&& other) noexcept : fd_(other.release()) {}
  Descriptor& operator=(Descriptor&& other) noexcept;
  ~Descriptor();
  int get() const { return fd_; }
  int release();

 private:
  int fd_;
};

// Safe to use from several threads.
class PosixFs final : public Fs {
 public:
  // `not_found` when there is no such folder. A link to a folder is followed here, and only here.
  static Result<std::unique_ptr<PosixFs>> open_at(const Path& root);

  Result<FileStat> stat(const Path& path) const override;
  Result<std::vector<DirEntry>> list(const Path& folder) const override;
  Result<std::unique_ptr<ReadFile>> open(const Path& path, Cache cache) const override;
  Result<Volume> volume() const override;
  Result<void> still_there() const override;
  Result<std::unique_ptr<WriteFile>> create(const Path& path, std::uint64_t expected_size) override;
  Result<void> make_folder(const Path& path) override;
  Result<void> rename_new(const Path& from, const Path& to) override;
  Result<void> replace(const Path& from, const Path& to) override;
  Result<void> remove(const Path& path) override;
  Result<void> sync_folder(const Path& path) override;
  Result<void> sync_all() override;
  bool tells_sync_errors() const override;

 private:
  PosixFs(Descriptor root, Path path) : root_(std::move(root)), path_(std::move(path)) {}
  Result<Descriptor> open_below(const Path& path, int flags, unsigned mode = 0, const char* doing = "open") const;
  Result<Descriptor> open_untouched(const Path& path, int flags) const;
  Result<Descriptor> open_parent(const Path& path) const;

  const Descriptor root_;
  const Path path_;  // where it was opened, absolute
};

}  // namespace everytake
