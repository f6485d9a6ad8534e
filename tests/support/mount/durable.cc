#include "support/mount/durable.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <boost/filesystem.hpp>
#include <iterator>

#include "support/rooms.h"
#include "support/temp_dir.h"

namespace everytake::test {
namespace {

namespace fs = boost::filesystem;

std::string parent_of(const std::string& path) {
  const auto slash = path.rfind('/');
  return slash == 0 ? "/" : path.substr(0, slash);
}

// A small generator of choices: any will do, so long as a seed gives the same ones again.
unsigned choose(unsigned& seed, unsigned ways) {
  seed = seed * 1664525U + 1013904223U;
  return (seed >> 16) % ways;
}

}  // namespace

Durable::Content Durable::content_of(const Path& file) {
  struct stat status {};
  ::stat(file.c_str(), &status);
  return {get_file(file), status.st_mtim};
}

Durable::Durable(Path folder) : folder_(std::move(folder)) {
  names_ = names_below("/", true);
  for (const auto& [path, name] : names_)
    if (!name.folder) synced_[name.inode] = content_of(folder_ / path);
}

Durable::~Durable() {
  MutexLock lock(mu_);
  let_go();
}

void Durable::let_go() {
  for (const int fd : held_) ::close(fd);
  held_.clear();
}

void Durable::created(int fd) {
  MutexLock lock(mu_);
  held_.push_back(::dup(fd));
}

Durable::Names Durable::names_below(const std::string& path, bool deep) const {
  Names names;
  const auto add = [&](const fs::path& at) {
    struct stat status {};
    if (::lstat(at.c_str(), &status) == 0)
      names["/" + fs::relative(at, folder_).string()] = {S_ISDIR(status.st_mode), status.st_ino};
  };
  if (deep)
    for (const auto& entry : fs::recursive_directory_iterator(folder_ / path)) add(entry.path());
  else
    for (const auto& entry : fs::directory_iterator(folder_ / path)) add(entry.path());
  return names;
}

void Durable::synced_file(int fd) {
  struct stat status {};
  if (::fstat(fd, &status) != 0) return;
  auto content = content_of("/proc/self/fd/" + std::to_string(fd));
  MutexLock lock(mu_);
  synced_[status.st_ino] = std::move(content);
}

void Durable::synced_folder(const std::string& path) {
  const auto now = names_below(path, false);
  MutexLock lock(mu_);
  const auto gone_or_another = [&](const std::string& child) {
    const auto here = now.find(child);
    return here == now.end() || !(here->second == names_.at(child));
  };
  std::vector<std::string> ended;  // of the folder's children
  for (const auto& [name, what] : names_)
    if (parent_of(name) == path && gone_or_another(name)) ended.push_back(name);
  for (const auto& child : ended)  // with all that was in it
    std::erase_if(names_, [&](const auto& name) { return name.first == child || name.first.starts_with(child + "/"); });
  names_.insert(now.begin(), now.end());
}

// A file's bytes after the cut: those that were synced, or some of those that were not.
Durable::Content Durable::left_of(const Content& synced, const Content& now, unsigned& seed) const {
  if (seed == 0 || synced.bytes == now.bytes) return synced;
  const auto half = now.bytes.size() / 2;
  switch (choose(seed, 3)) {
    case 0:
      return synced;
    case 1:
      return now;
    default:  // the right length, the first half of it written
      return {now.bytes.substr(0, half) + std::string(now.bytes.size() - half, '\0'), now.mtime};
  }
}

void Durable::power_cut(unsigned seed) {
  const auto live = names_below("/", true);
  MutexLock lock(mu_);
  Names left = names_;
  if (seed != 0)
    for (const auto& [path, name] : live)
      if (choose(seed, 2) == 0) left[path] = name;
  std::map<std::string, Content> files;
  for (const auto& [path, name] : left) {
    if (name.folder) continue;
    const auto here = live.find(path);
    const bool is_live = here != live.end() && here->second == name;
    files[path] = is_live ? left_of(synced_[name.inode], content_of(folder_ / path), seed) : synced_[name.inode];
  }
  for (const auto& entry : std::vector<fs::directory_entry>(fs::directory_iterator(folder_), {}))
    fs::remove_all(entry.path());
  names_.clear();
  synced_.clear();
  let_go();
  for (const auto& [path, name] : left) restore(path, name.folder ? nullptr : &files[path]);
}

// A folder sorts before what is in it; what lay in one that is lost is lost.
void Durable::restore(const std::string& path, const Content* content) {
  const auto at = folder_ / path;
  if (!fs::is_directory(at.parent_path())) return;
  if (!content) {
    fs::create_directory(at);
  } else {
    put_file(at, content->bytes);
    const timespec times[2] = {content->mtime, content->mtime};
    ::utimensat(AT_FDCWD, at.c_str(), times, 0);
  }
  struct stat status {};
  if (::lstat(at.c_str(), &status) != 0) return;
  names_[path] = {content == nullptr, status.st_ino};
  if (!content) return;
  synced_[status.st_ino] = *content;
  held_.push_back(::open(at.c_str(), O_RDONLY | O_CLOEXEC));
}

}  // namespace everytake::test
