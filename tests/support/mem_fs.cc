#include "support/mem_fs.h"
#include "support/rooms.h"

#include <algorithm>
#include <cstring>
#include <random>

namespace everytake::test {

class MemReadFile final : public ReadFile {
 public:
  MemReadFile(const MemFs& fs, std::shared_ptr<MemFs::Node> node) : fs_(fs), node_(std::move(node)) {}

  Result<std::size_t> read(std::span<std::byte> buffer, std::uint64_t offset) override {
    MutexLock lock(fs_.mu_);
    TRY(fs_.answers());
    if (offset >= node_->bytes.size()) return std::size_t{0};
    const auto count = std::min<std::size_t>(buffer.size(), node_->bytes.size() - offset);
    std::memcpy(buffer.data(), node_->bytes.data() + offset, count);
    return count;
  }
  Result<FileStat> stat() const override {
    MutexLock lock(fs_.mu_);
    return fs_.stat_of(*node_);
  }
  Evidence evidence() const override {
    MutexLock lock(fs_.mu_);
    return fs_.evidence_;
  }

 private:
  const MemFs& fs_;
  const std::shared_ptr<MemFs::Node> node_;
};

class MemWriteFile final : public WriteFile {
 public:
  MemWriteFile(MemFs& fs, std::shared_ptr<MemFs::Node> node) : fs_(fs), node_(std::move(node)) {}

  Result<void> append(std::span<const std::byte> bytes) override {
    MutexLock lock(fs_.mu_);
    if (fs_.used() + bytes.size() > fs_.capacity_) return fail(Code::no_space, "no space left", ENOSPC);
    node_->bytes.append(reinterpret_cast<const char*>(bytes.data()), bytes.size());
    return {};
  }
  Result<void> set_mtime(FileTime mtime) override {
    MutexLock lock(fs_.mu_);
    node_->mtime = mtime;
    return {};
  }
  Result<void> sync() override {
    MutexLock lock(fs_.mu_);
    node_->synced = node_->bytes;
    return {};
  }
  Result<void> close() override { return {}; }

 private:
  MemFs& fs_;
  const std::shared_ptr<MemFs::Node> node_;
};

MemFs::MemFs() {
  volume_.filesystem = "memfs";
  const auto disk = "disk of " + std::to_string(reinterpret_cast<std::uintptr_t>(this));
  volume_.disks = {{disk}, true};
  volume_.uuid = "uuid of " + disk;
  volume_.within = "/";
  volume_.free_bytes = volume_.total_bytes = std::uint64_t{1} << 40;
}

void MemFs::put(const Path& path, std::string bytes, FileTime mtime) {
  MutexLock lock(mu_);
  for (Path folder = path.parent_path(); !folder.empty(); folder = folder.parent_path()) {
    auto& node = names_[folder.string()];
    if (!node) node = std::make_shared<Node>(Node{true, "", "", mtime, mtime, next_++});
    durable_[folder.string()] = node;
  }
  auto node = std::make_shared<Node>(Node{false, bytes, bytes, mtime, FileTime(std::chrono::seconds(next_)), next_});
  ++next_;
  names_[path.string()] = durable_[path.string()] = node;
}

std::string MemFs::get(const Path& path) const {
  MutexLock lock(mu_);
  const auto node = find(path);
  return node ? node->bytes : "";
}

bool MemFs::has(const Path& path) const {
  MutexLock lock(mu_);
  return find(path) != nullptr;
}

std::set<std::string> MemFs::files() const {
  MutexLock lock(mu_);
  std::set<std::string> found;
  for (const auto& [name, node] : names_)
    if (!node->folder) found.insert(name);
  return found;
}

void MemFs::number_on_from(const MemFs& other) {
  std::uint64_t next = 0;
  {
    MutexLock lock(other.mu_);
    next = other.next_;
  }
  MutexLock lock(mu_);
  next_ = std::max(next_, next);
}

void MemFs::alter(const Path& path, std::size_t at) {
  MutexLock lock(mu_);
  const auto node = find(path);
  node->bytes[at] = static_cast<char>(node->bytes[at] ^ 1);
  node->synced = node->bytes;
}

void MemFs::rewrite(const Path& path, std::string bytes) {
  MutexLock lock(mu_);
  const auto node = find(path);
  node->bytes = node->synced = std::move(bytes);
  node->mtime += std::chrono::seconds(1);
  node->ctime = FileTime(std::chrono::seconds(next_++));
}

void MemFs::set_capacity(std::uint64_t bytes) {
  MutexLock lock(mu_);
  capacity_ = bytes;
}

void MemFs::set_volume(Volume volume) {
  MutexLock lock(mu_);
  volume_ = std::move(volume);
}

void MemFs::set_evidence(Evidence evidence) {
  MutexLock lock(mu_);
  evidence_ = evidence;
}

void MemFs::set_dead(bool dead) {
  MutexLock lock(mu_);
  dead_ = dead;
}

void MemFs::crash(unsigned seed) {
  MutexLock lock(mu_);
  std::minstd_rand random(seed);
  const auto kept = [&] { return seed != 0 && random() % 2 == 0; };
  Names after;
  std::set<std::string> all;
  for (const auto& names : {names_, durable_})
    for (const auto& [name, node] : names) all.insert(name);
  for (const auto& name : all) {
    const auto now = names_.find(name), before = durable_.find(name);
    const bool same = now != names_.end() && before != durable_.end() && now->second == before->second;
    const auto& source = same || kept() ? names_ : durable_;
    if (const auto it = source.find(name); it != source.end()) after[name] = it->second;
  }
  // A name whose folder is lost is lost with it.
  std::erase_if(after, [&](const auto& entry) {
    const auto folder = Path(entry.first).parent_path();
    return !folder.empty() && !after.count(folder.string());
  });
  for (auto& [name, node] : after) {
    if (node->folder || node->bytes == node->synced || kept()) continue;
    const bool torn = kept() && node->bytes.size() > node->synced.size();
    if (torn)
      node->bytes = node->synced + std::string(node->bytes.size() - node->synced.size(), '\0');
    else
      node->bytes = node->synced;
  }
  for (auto& [name, node] : after) node->synced = node->bytes;
  names_ = durable_ = after;
}

std::shared_ptr<MemFs::Node> MemFs::find(const Path& path) const {
  const auto it = names_.find(path.string());
  return it == names_.end() ? nullptr : it->second;
}

Result<void> MemFs::add(const Path& path, std::shared_ptr<Node> node) {
  const auto folder = path.parent_path();
  if (const auto parent = find(folder); !folder.empty() && (!parent || !parent->folder))
    return fail(Code::not_found, path.string() + ": its folder is not there", ENOENT);
  if (find(path)) return fail(Code::exists, path.string() + ": the name is taken", EEXIST);
  node->inode = next_;
  node->ctime = node->mtime = FileTime(std::chrono::seconds(next_++));
  names_[path.string()] = std::move(node);
  return {};
}

FileStat MemFs::stat_of(const Node& node) const {
  return {node.folder ? FileType::directory : FileType::regular,
          node.bytes.size(),
          node.mtime,
          node.ctime,
          reinterpret_cast<std::uintptr_t>(this),
          node.inode};
}

std::uint64_t MemFs::used() const {
  std::uint64_t sum = 0;
  for (const auto& [name, node] : names_) sum += node->bytes.size();
  return sum;
}

Result<void> MemFs::answers() const {
  if (dead_) return fail(Code::gone, "the disk beneath is gone", ENODEV);
  return {};
}

Result<FileStat> MemFs::stat(const Path& path) const {
  MutexLock lock(mu_);
  if (path.empty()) return FileStat{FileType::directory, 0, {}, {}, 1, 0};
  const auto node = find(path);
  if (!node) return fail(Code::not_found, path.string() + ": no such file", ENOENT);
  return stat_of(*node);
}

Result<std::vector<DirEntry>> MemFs::list(const Path& folder) const {
  MutexLock lock(mu_);
  if (const auto node = find(folder); !folder.empty() && (!node || !node->folder))
    return fail(Code::not_found, folder.string() + ": no such folder", ENOENT);
  std::vector<DirEntry> entries;
  for (const auto& [name, node] : names_)
    if (Path(name).parent_path() == folder)
      entries.push_back({Path(name).filename().string(), node->folder ? FileType::directory : FileType::regular});
  return entries;
}

Result<std::unique_ptr<ReadFile>> MemFs::open(const Path& path, Cache) const {
  MutexLock lock(mu_);
  const auto node = find(path);
  if (!node) return fail(Code::not_found, path.string() + ": no such file", ENOENT);
  if (node->folder) return fail(Code::invalid, path.string() + ": is a folder", EISDIR);
  return std::make_unique<MemReadFile>(*this, node);
}

Result<Volume> MemFs::volume() const {
  MutexLock lock(mu_);
  auto volume = volume_;
  if (capacity_ != UINT64_MAX) volume.free_bytes = capacity_ - std::min(capacity_, used());
  return volume;
}

Result<void> MemFs::still_there() const {
  MutexLock lock(mu_);
  return answers();
}

Result<std::unique_ptr<WriteFile>> MemFs::create(const Path& path, std::uint64_t) {
  MutexLock lock(mu_);
  auto node = std::make_shared<Node>();
  TRY(add(path, node));
  return std::make_unique<MemWriteFile>(*this, node);
}

Result<void> MemFs::make_folder(const Path& path) {
  MutexLock lock(mu_);
  auto node = std::make_shared<Node>();
  node->folder = true;
  return add(path, node);
}

Result<void> MemFs::rename_new(const Path& from, const Path& to) {
  MutexLock lock(mu_);
  const auto node = find(from);
  if (!node) return fail(Code::not_found, from.string() + ": no such file", ENOENT);
  if (find(to)) return fail(Code::exists, to.string() + ": the name is taken", EEXIST);
  names_.erase(from.string());
  names_[to.string()] = node;
  node->ctime = FileTime(std::chrono::seconds(next_++));
  return {};
}

Result<void> MemFs::replace(const Path& from, const Path& to) {
  MutexLock lock(mu_);
  const auto node = find(from);
  if (!node) return fail(Code::not_found, from.string() + ": no such file", ENOENT);
  names_.erase(from.string());
  names_[to.string()] = node;
  return {};
}

Result<void> MemFs::remove(const Path& path) {
  MutexLock lock(mu_);
  if (!names_.erase(path.string())) return fail(Code::not_found, path.string() + ": no such file", ENOENT);
  return {};
}

Result<void> MemFs::sync_folder(const Path& path) {
  MutexLock lock(mu_);
  if (!path.empty() && !find(path)) return fail(Code::not_found, path.string() + ": no such folder", ENOENT);
  const auto inside = [&](const auto& entry) { return Path(entry.first).parent_path() == path; };
  std::erase_if(durable_, inside);
  for (const auto& entry : names_)
    if (inside(entry)) durable_.insert(entry);
  return {};
}

Result<void> MemFs::sync_all() {
  MutexLock lock(mu_);
  for (auto& [name, node] : names_) node->synced = node->bytes;
  durable_ = names_;
  return {};
}

}  // namespace everytake::test
