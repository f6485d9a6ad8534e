// A filesystem that something happens to at a moment of the test's choice.
#pragma once

#include <functional>
#include <string>
#include <utility>

#include "os/fs.h"
#include "support/rooms.h"

namespace everytake::test {

class HappeningFs final : public Fs {
 public:
  // `happens` once, before the first `what` ("open", "list", "rename") of a path that has the name `name`.
  HappeningFs(Fs& inner, std::string what, std::string name, std::function<void()> happens)
      : inner_(inner), what_(std::move(what)), name_(std::move(name)), happens_(std::move(happens)) {}

  Result<FileStat> stat(const Path& path) const override { return inner_.stat(path); }
  Result<std::vector<DirEntry>> list(const Path& folder) const override {
    before("list", folder);
    return inner_.list(folder);
  }
  Result<std::unique_ptr<ReadFile>> open(const Path& path, Cache cache) const override {
    before("open", path);
    return inner_.open(path, cache);
  }
  Result<Volume> volume() const override { return inner_.volume(); }
  Result<void> still_there() const override { return inner_.still_there(); }
  Result<std::unique_ptr<WriteFile>> create(const Path& path, std::uint64_t expected_size) override {
    return inner_.create(path, expected_size);
  }
  Result<void> make_folder(const Path& path) override { return inner_.make_folder(path); }
  Result<void> rename_new(const Path& from, const Path& to) override {
    if (what_ == "rename" && to.filename() == name_) from_ = from;
    before("rename", to);
    return inner_.rename_new(from, to);
  }
  Result<void> replace(const Path& from, const Path& to) override { return inner_.replace(from, to); }
  Result<void> remove(const Path& path) override { return inner_.remove(path); }
  Result<void> sync_folder(const Path& path) override { return inner_.sync_folder(path); }
  Result<void> sync_all() override { return inner_.sync_all(); }
  bool tells_sync_errors() const override { return inner_.tells_sync_errors(); }

  const Path& renamed_from() const { return from_; }
  bool happened() const { return happened_; }

 private:
  void before(const char* what, const Path& path) const {
    if (happened_ || what != what_ || path.filename() != name_) return;
    happened_ = true;
    happens_();
  }

  Fs& inner_;
  const std::string what_, name_;
  const std::function<void()> happens_;
  Path from_;
  mutable bool happened_ = false;
};

}  // namespace everytake::test
