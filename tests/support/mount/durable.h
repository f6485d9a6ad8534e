// What of a folder would survive a power cut: kept in memory beside it, told of every sync.
#pragma once

#include <ctime>
#include <map>
#include <string>
#include <vector>

#include "base/sync.h"
#include "os/fs.h"
#include "support/rooms.h"

namespace everytake::test {

// Paths start with "/" and are below `folder`. Safe to use from several threads.
class Durable {
 public:
  // All that is in the folder now is durable.
  explicit Durable(Path folder);
  ~Durable();
  Durable(const Durable&) = delete;
  Durable& operator=(const Durable&) = delete;

  void created(int fd);
  void synced_file(int fd);
  void synced_folder(const std::string& path);  // its names
  // Makes the folder what a disk holds after a power cut now. With seed 0 everything not synced is lost; else each
  // unsynced name is kept or lost, and each file's unsynced bytes are kept, lost or torn, by the seed's choice.
  void power_cut(unsigned seed);

 private:
  struct Name {
    bool folder = false;
    std::uint64_t inode = 0;
    bool operator==(const Name&) const = default;
  };
  struct Content {
    std::string bytes;
    timespec mtime{};
  };
  using Names = std::map<std::string, Name>;

  Names names_below(const std::string& path, bool deep) const;
  static Content content_of(const Path& file);
  void restore(const std::string& path, const Content* content) REQUIRES(mu_);  // nullptr: a folder
  void let_go() REQUIRES(mu_);
  Content left_of(const Content& synced, const Content& now, unsigned& seed) const;

  const Path folder_;
  Mutex mu_;
  Names names_ GUARDED_BY(mu_);
  std::map<std::uint64_t, Content> synced_ GUARDED_BY(mu_);  // by inode, as of the last sync
  std::vector<int> held_ GUARDED_BY(mu_);  // of files there have been since the last cut: no inode number comes twice
};

}  // namespace everytake::test
