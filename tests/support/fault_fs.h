// Puts faults before a filesystem. Every operation has a name made of what it does, to which path, and the how-manieth
// time: "append R001/C0001.MP4 #3". The name is the same in every run, whatever the threads do. A second name is for
// faults that may meet any file: "append * #3" is the third append of all.
#pragma once

#include <functional>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "support/mem_fs.h"
#include "support/rooms.h"

namespace everytake::test {

class FaultFs final : public Fs {
 public:
  enum class Then { carry_on, dead };  // dead: every later operation fails as `gone`, as on a cut power line

  explicit FaultFs(Fs& inner) : inner_(inner) {}

  void fail_at(std::string operation, Code code, Then then = Then::carry_on);
  // One bit of what this read or append carries; never one that another of them or MemFs::alter() turns: two must not
  // take each other back.
  void flip_at(std::string operation);
  std::vector<std::string> operations() const;  // all names so far, sorted
  bool hit() const;

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
  bool tells_sync_errors() const override { return inner_.tells_sync_errors(); }

  // Used by the files it opens: counts the operation and says which fault meets it.
  struct Met {
    std::optional<Error> error;
    bool flip = false;
  };
  Met meet(const std::string& kind, const Path& path) const;

 private:
  Result<void> checked(const std::string& kind, const Path& path) const;

  Fs& inner_;
  mutable Mutex mu_;
  mutable std::map<std::string, int> counts_ GUARDED_BY(mu_);
  mutable std::set<std::string> seen_ GUARDED_BY(mu_);
  mutable bool hit_ GUARDED_BY(mu_) = false;
  mutable bool dead_ GUARDED_BY(mu_) = false;
  std::string fail_operation_ GUARDED_BY(mu_);
  std::string flip_operation_ GUARDED_BY(mu_);
  Code code_ GUARDED_BY(mu_) = Code::io;
  Then then_ GUARDED_BY(mu_) = Then::carry_on;
};

}  // namespace everytake::test
