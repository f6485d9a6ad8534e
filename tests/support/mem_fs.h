// A filesystem in memory that knows what was synced: crash() forgets the rest, as a power cut does.
#pragma once

#include <map>
#include <memory>
#include <set>
#include <string>

#include "base/sync.h"
#include "os/fs.h"
#include "support/rooms.h"

namespace everytake::test {

class MemFs final : public Fs {
 public:
  MemFs();

  // ---- What tests do to it ----
  void put(const Path& path, std::string bytes, FileTime mtime = FileTime(std::chrono::seconds(1'700'000'000)));
  std::string get(const Path& path) const;  // "" when there is no such file
  bool has(const Path& path) const;
  std::set<std::string> files() const;                // every file's path
  void alter(const Path& path, std::size_t at);       // flips a bit; size and times stay: bit rot
  void rewrite(const Path& path, std::string bytes);  // as a program does: the same file, with later times
  void set_capacity(std::uint64_t bytes);             // of all files together
  void set_volume(Volume volume);
  void number_on_from(const MemFs& other);  // no file here gets an inode number and times that one has there
  void set_evidence(Evidence evidence);
  // Whether the disk beneath is gone: reading and still_there() say so, names and sizes are told from memory.
  void set_dead(bool dead);
  // A power cut. With seed 0 everything not synced is lost; else each unsynced name and file is kept, lost or torn by
  // the seed's choice: a disk may write in any order.
  void crash(unsigned seed = 0);

  // ---- Fs ----
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
  bool tells_sync_errors() const override { return true; }

 private:
  friend class MemReadFile;
  friend class MemWriteFile;
  struct Node {
    bool folder = false;
    std::string bytes;
    std::string synced;
    FileTime mtime{};
    FileTime ctime{};
    std::uint64_t inode = 0;
  };
  using Names = std::map<std::string, std::shared_ptr<Node>>;

  std::shared_ptr<Node> find(const Path& path) const REQUIRES(mu_);
  Result<void> add(const Path& path, std::shared_ptr<Node> node) REQUIRES(mu_);
  FileStat stat_of(const Node& node) const;
  std::uint64_t used() const REQUIRES(mu_);
  Result<void> answers() const REQUIRES(mu_);

  mutable Mutex mu_;
  Names names_ GUARDED_BY(mu_);
  Names durable_ GUARDED_BY(mu_);
  Volume volume_ GUARDED_BY(mu_);
  std::uint64_t capacity_ GUARDED_BY(mu_) = UINT64_MAX;
  std::uint64_t next_ GUARDED_BY(mu_) = 1;  // inode numbers and the clock of ctime
  Evidence evidence_ GUARDED_BY(mu_) = Evidence::direct;
  bool dead_ GUARDED_BY(mu_) = false;
};

}  // namespace everytake::test
