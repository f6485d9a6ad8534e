// Open files of the real filesystem. Used by posix_fs alone.
#pragma once

#include <sys/stat.h>

#include "os/posix_fs.h"

namespace everytake {

FileStat file_stat(const struct stat& status);

class PosixReadFile final : public ReadFile {
 public:
  // `invalid` when `fd` is no regular file.
  static Result<std::unique_ptr<ReadFile>> over(Descriptor fd, const Path& path, Cache cache);

  Result<std::size_t> read(std::span<std::byte> buffer, std::uint64_t offset) override;
  Result<FileStat> stat() const override;
  Evidence evidence() const override;

 private:
  PosixReadFile(Descriptor fd, Path path) : fd_(std::move(fd)), path_(std::move(path)) {}
  void leave_cache();
  std::span<std::byte> useful(std::span<std::byte> buffer, std::uint64_t offset) const;
  Result<std::size_t> read_some(std::span<std::byte> buffer, std::uint64_t offset);

  const Descriptor fd_;
  const Path path_;
  std::uint64_t size_ = 0;     // when it was opened
  std::uint64_t on_disk_ = 0;  // bytes the filesystem has allocated for it
  bool measured_ = false;      // what comes from the medium is counted: it costs two more calls a reading
  bool cache_was_empty_ = false;
  bool direct_ = false;
  bool past_cache_ = false;        // direct_, and shown to be more than a word
  bool served_ = false;            // by a server, whose device nobody sees
  std::uint64_t read_ = 0;         // bytes handed out
  std::uint64_t from_device_ = 0;  // bytes the kernel says it fetched for us meanwhile
};

class PosixWriteFile final : public WriteFile {
 public:
  static Result<std::unique_ptr<WriteFile>> over(Descriptor fd, const Path& path, std::uint64_t expected_size);

  Result<void> append(std::span<const std::byte> bytes) override;
  Result<void> set_mtime(FileTime mtime) override;
  Result<void> sync() override;
  Result<void> close() override;

 private:
  PosixWriteFile(Descriptor fd, Path path) : fd_(std::move(fd)), path_(std::move(path)) {}
  Result<void> write_all(std::span<const std::byte> bytes);
  Result<void> start_writeback();

  Descriptor fd_;
  const Path path_;
  bool direct_ = false;
  std::uint64_t written_ = 0;
  std::uint64_t handed_to_disk_ = 0;  // of a buffered file: bytes whose writing was started
};

}  // namespace everytake
