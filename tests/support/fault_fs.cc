#include "support/fault_fs.h"
#include "support/rooms.h"

#include <algorithm>
#include <cstring>

namespace everytake::test {
namespace {

class FaultReadFile final : public ReadFile {
 public:
  FaultReadFile(const FaultFs& fs, Path path, std::unique_ptr<ReadFile> inner)
      : fs_(fs), path_(std::move(path)), inner_(std::move(inner)) {}

  Result<std::size_t> read(std::span<std::byte> buffer, std::uint64_t offset) override {
    auto met = fs_.meet("read", path_);
    if (met.error) return tl::unexpected(*met.error);
    const auto count = TRY(inner_->read(buffer, offset));
    if (met.flip && count > 0) buffer[count / 2] ^= std::byte{2};
    return count;
  }
  Result<FileStat> stat() const override {
    if (auto met = fs_.meet("fstat", path_); met.error) return tl::unexpected(*met.error);
    return inner_->stat();
  }
  Evidence evidence() const override { return inner_->evidence(); }

 private:
  const FaultFs& fs_;
  const Path path_;
  const std::unique_ptr<ReadFile> inner_;
};

class FaultWriteFile final : public WriteFile {
 public:
  FaultWriteFile(const FaultFs& fs, Path path, std::unique_ptr<WriteFile> inner)
      : fs_(fs), path_(std::move(path)), inner_(std::move(inner)) {}

  Result<void> append(std::span<const std::byte> bytes) override {
    auto met = fs_.meet("append", path_);
    if (met.error) return tl::unexpected(*met.error);
    if (!met.flip || bytes.empty()) return inner_->append(bytes);
    std::vector<std::byte> changed(bytes.begin(), bytes.end());
    changed[changed.size() / 2] ^= std::byte{4};
    return inner_->append(changed);
  }
  Result<void> set_mtime(FileTime mtime) override {
    if (auto met = fs_.meet("set_mtime", path_); met.error) return tl::unexpected(*met.error);
    return inner_->set_mtime(mtime);
  }
  Result<void> sync() override {
    if (auto met = fs_.meet("sync", path_); met.error) return tl::unexpected(*met.error);
    return inner_->sync();
  }
  Result<void> close() override {
    if (auto met = fs_.meet("close", path_); met.error) return tl::unexpected(*met.error);
    return inner_->close();
  }

 private:
  const FaultFs& fs_;
  const Path path_;
  const std::unique_ptr<WriteFile> inner_;
};

}  // namespace

namespace {

// Names of unfinished files with "file" for the letters that each catalogue has by chance.
std::string same_in_every_run(std::string name) {
  constexpr std::size_t kToken = 16;
  if (name.find(".everytake-part") == std::string::npos) return name;
  const auto is_hex = [](char c) { return (c >= '0' && c <= '9') || (c >= 'a' && c <= 'f'); };
  for (std::size_t at = 0; at + kToken <= name.size(); ++at)
    if (std::all_of(name.begin() + static_cast<std::ptrdiff_t>(at),
                    name.begin() + static_cast<std::ptrdiff_t>(at + kToken), is_hex))
      return name.replace(at, kToken, "file");
  return name;
}

}  // namespace

void FaultFs::fail_at(std::string operation, Code code, Then then) {
  MutexLock lock(mu_);
  fail_operation_ = same_in_every_run(std::move(operation));
  code_ = code;
  then_ = then;
}

void FaultFs::flip_at(std::string operation) {
  MutexLock lock(mu_);
  flip_operation_ = same_in_every_run(std::move(operation));
}

std::vector<std::string> FaultFs::operations() const {
  MutexLock lock(mu_);
  return {seen_.begin(), seen_.end()};
}

bool FaultFs::hit() const {
  MutexLock lock(mu_);
  return hit_;
}

FaultFs::Met FaultFs::meet(const std::string& kind, const Path& path) const {
  MutexLock lock(mu_);
  const auto numbered = [&](const std::string& what)
                            REQUIRES(mu_) { return what + " #" + std::to_string(++counts_[what]); };
  const std::string name = numbered(kind + " " + same_in_every_run(path.string()));
  const std::string of_any_file = numbered(kind + " *");
  seen_.insert(name);
  const auto is_meant = [&](const std::string& operation) { return operation == name || operation == of_any_file; };
  Met met;
  if (is_meant(fail_operation_)) {
    hit_ = true;
    dead_ = then_ == Then::dead;
    met.error = Error{code_, name + ": injected", 0};
  } else if (dead_) {
    met.error = Error{Code::gone, name + ": the power is cut", 0};
  } else if (is_meant(flip_operation_)) {
    hit_ = met.flip = true;
  }
  return met;
}

Result<void> FaultFs::checked(const std::string& kind, const Path& path) const {
  if (auto met = meet(kind, path); met.error) return tl::unexpected(*met.error);
  return {};
}

Result<FileStat> FaultFs::stat(const Path& path) const {
  TRY(checked("stat", path));
  return inner_.stat(path);
}

Result<std::vector<DirEntry>> FaultFs::list(const Path& folder) const {
  TRY(checked("list", folder));
  return inner_.list(folder);
}

Result<std::unique_ptr<ReadFile>> FaultFs::open(const Path& path, Cache cache) const {
  TRY(checked("open", path));
  auto file = TRY(inner_.open(path, cache));
  return std::make_unique<FaultReadFile>(*this, path, std::move(file));
}

Result<Volume> FaultFs::volume() const {
  TRY(checked("volume", ""));
  return inner_.volume();
}

Result<void> FaultFs::still_there() const {
  TRY(checked("still_there", ""));
  return inner_.still_there();
}

Result<std::unique_ptr<WriteFile>> FaultFs::create(const Path& path, std::uint64_t expected_size) {
  TRY(checked("create", path));
  auto file = TRY(inner_.create(path, expected_size));
  return std::make_unique<FaultWriteFile>(*this, path, std::move(file));
}

Result<void> FaultFs::make_folder(const Path& path) {
  TRY(checked("make_folder", path));
  return inner_.make_folder(path);
}

Result<void> FaultFs::rename_new(const Path& from, const Path& to) {
  TRY(checked("rename", to));
  return inner_.rename_new(from, to);
}

Result<void> FaultFs::replace(const Path& from, const Path& to) {
  TRY(checked("replace", to));
  return inner_.replace(from, to);
}

Result<void> FaultFs::remove(const Path& path) {
  TRY(checked("remove", path));
  return inner_.remove(path);
}

Result<void> FaultFs::sync_folder(const Path& path) {
  TRY(checked("sync_folder", path));
  return inner_.sync_folder(path);
}

Result<void> FaultFs::sync_all() {
  TRY(checked("sync_all", ""));
  return inner_.sync_all();
}

}  // namespace everytake::test
