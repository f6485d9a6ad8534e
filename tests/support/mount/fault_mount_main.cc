// A filesystem of the tests' own: shows a folder, and goes wrong by rules (rules.h) and options. Stays in the
// foreground until it is unmounted.
//
// Usage: fault_mount FOLDER MOUNTPOINT [OPTION…]
//   --ready=FD       writes a byte there once it is mounted
//   --cache=keep     the kernel may keep what it read before;  --cache=none: every read comes here, as it was asked
//   --no-direct      refuses O_DIRECT reads and writes
//   --no-replace-flag, --no-links, --no-modes   as FAT: renames know no flags; no second names; no owners, no modes
//   --no-case        a name is found whatever its case
//   --forbid=CHARS   names holding one of these are refused
//   --time-grain=S   times in steps of S seconds
//   --most-bytes=N   of a file
//   --volatile       remembers what was synced, for "power-cut"
//
// What is written to the file /.fault-control, which no listing shows, is a command: "rules" and then lines of rules
// (rules.h), or "power-cut SEED" (durable.h). Reading it gives every call so far that could change something, and last
// "stalled N": how many calls wait by a rule.
#define FUSE_USE_VERSION 31
#include <fcntl.h>
#include <fuse3/fuse.h>
#include <sys/stat.h>
#include <unistd.h>

#include <boost/filesystem.hpp>
#include <cstring>
#include <memory>
#include <optional>

#include "support/mount/durable.h"
#include "support/mount/rules.h"
#include "support/rooms.h"

namespace everytake::test {
namespace {

constexpr const char* kControl = "/.fault-control";

bool is_control(const char* path) {
  return std::strcmp(path, kControl) == 0;
}

struct Options {
  std::string cache, forbid;
  bool direct = true, replace_flag = true, links = true, modes = true, by_case = true, is_volatile = false;
  std::uint64_t most_bytes = UINT64_MAX;
  long time_grain = 0;
  int ready = -1;
};

struct OpenFile {
  int fd = -1;
  int opening = 0;
  bool is_told = false;  // the control file, opened to be read
  std::string control;   // of the control file: what was written so far, or what there is to read
};

struct OpenFolder {
  std::vector<std::string> names;
  std::optional<std::size_t> breaks_at;
  int error = EIO;
};

// All that the filesystem's calls share. Constant but for what has a lock of its own.
struct Disk {
  Path folder;
  Options options;
  FaultRules rules;
  std::unique_ptr<Durable> durable;
  Mutex mu;
  std::map<std::string, int> openings GUARDED_BY(mu);
  std::map<std::string, std::string> loops GUARDED_BY(mu);  // folder → the name in it that is the folder again
  std::string log GUARDED_BY(mu);
};

Disk* disk = nullptr;  // libfuse's calls have no other way to it

std::string with_case(const Path& folder, const std::string& name) {
  boost::system::error_code none;
  if (boost::filesystem::exists(boost::filesystem::symlink_status(folder / name, none))) return name;
  for (boost::filesystem::directory_iterator it(folder, none), end; !none && it != end; it.increment(none))
    if (::strcasecmp(it->path().filename().c_str(), name.c_str()) == 0) return it->path().filename().string();
  return name;
}

// Where a path of the filesystem lies in the folder it shows.
std::string real(std::string path) {
  {
    MutexLock lock(disk->mu);
    for (const auto& [folder, name] : disk->loops)
      for (auto at = path.find(folder + "/" + name); at != std::string::npos; at = path.find(folder + "/" + name))
        path.erase(at + folder.size(), name.size() + 1);
  }
  if (disk->options.by_case) return disk->folder.string() + path;
  Path found = disk->folder;
  for (const auto& name : Path(path).relative_path()) found /= with_case(found, name.string());
  return found.string();
}

int answer(int result) {
  return result < 0 ? -errno : 0;
}

// Counts the call and notes it where it changes something. The error it meets, negative, or 0.
int meet(const char* operation, const std::string& path, bool changes = false) {
  if (changes) {
    MutexLock lock(disk->mu);
    disk->log += std::string(operation) + " " + path + "\n";
  }
  for (const auto& rule : disk->rules.meet({operation, path, 0, 0, 0}))
    if (rule.action == "err") return -rule.error;
  return 0;
}

int refuse_name(const std::string& path) {
  const auto name = path.substr(path.rfind('/') + 1);
  return name.find_first_of(disk->options.forbid) == std::string::npos ? 0 : -EINVAL;
}

OpenFile& file_of(const fuse_file_info* info) {
  return *reinterpret_cast<OpenFile*>(info->fh);  // NOLINT(performance-no-int-to-ptr): libfuse keeps it as a number
}
OpenFolder& folder_of(const fuse_file_info* info) {
  return *reinterpret_cast<OpenFolder*>(info->fh);  // NOLINT(performance-no-int-to-ptr)
}

int do_getattr(const char* path, struct stat* status, fuse_file_info* info) {
  if (is_control(path)) {
    *status = {};
    status->st_mode = S_IFREG | 0600;
    status->st_ino = UINT32_MAX;
    return 0;
  }
  if (const int error = meet("getattr", path)) return error;
  if (info && file_of(info).fd >= 0) return answer(::fstat(file_of(info).fd, status));
  return answer(::lstat(real(path).c_str(), status));
}

int do_mkdir(const char* path, mode_t mode) {
  if (const int error = meet("mkdir", path, true)) return error;
  if (const int error = refuse_name(path)) return error;
  return answer(::mkdir(real(path).c_str(), mode));
}

int do_unlink(const char* path) {
  if (const int error = meet("unlink", path, true)) return error;
  return answer(::unlink(real(path).c_str()));
}

int do_rmdir(const char* path) {
  if (const int error = meet("unlink", path, true)) return error;
  return answer(::rmdir(real(path).c_str()));
}

int do_rename(const char* from, const char* to, unsigned flags) {
  if (const int error = meet("rename", to, true)) return error;
  if (const int error = refuse_name(to)) return error;
  if (flags && !disk->options.replace_flag) return -EINVAL;
  return answer(::renameat2(AT_FDCWD, real(from).c_str(), AT_FDCWD, real(to).c_str(), flags));
}

int do_link(const char* from, const char* to) {
  if (const int error = meet("link", to, true)) return error;
  if (!disk->options.links) return -EPERM;
  return answer(::link(real(from).c_str(), real(to).c_str()));
}

int do_chmod(const char* path, mode_t mode, fuse_file_info*) {
  if (const int error = meet("chmod", path, true)) return error;
  return disk->options.modes ? answer(::chmod(real(path).c_str(), mode)) : -EPERM;
}

int do_truncate(const char* path, off_t size, fuse_file_info*) {
  if (is_control(path)) return 0;
  if (const int error = meet("truncate", path, true)) return error;
  if (static_cast<std::uint64_t>(size) > disk->options.most_bytes) return -EFBIG;
  return answer(::truncate(real(path).c_str(), size));
}

int do_utimens(const char* path, const timespec times[2], fuse_file_info*) {
  if (const int error = meet("utimens", path, true)) return error;
  timespec coarse[2] = {times[0], times[1]};
  for (auto& time : coarse)
    if (disk->options.time_grain > 0) time = {time.tv_sec - time.tv_sec % disk->options.time_grain, 0};
  return answer(::utimensat(AT_FDCWD, real(path).c_str(), coarse, AT_SYMLINK_NOFOLLOW));
}

int open_file(const char* path, fuse_file_info* info, int flags, mode_t mode) {
  auto file = std::make_unique<OpenFile>();
  if (!is_control(path)) {
    file->fd = ::open(real(path).c_str(), (flags & ~O_DIRECT) | O_CLOEXEC, mode);
    if (file->fd < 0) return -errno;
    if (disk->durable && (flags & O_CREAT)) disk->durable->created(file->fd);
    MutexLock lock(disk->mu);
    file->opening = ++disk->openings[path];
  } else if ((flags & O_ACCMODE) == O_RDONLY) {
    MutexLock lock(disk->mu);
    file->is_told = true;
    file->control = disk->log + "stalled " + std::to_string(disk->rules.stalled()) + "\n";
  }
  info->direct_io = file->fd < 0 || disk->options.cache == "none";
  info->keep_cache = disk->options.cache == "keep";
  info->fh = reinterpret_cast<std::uint64_t>(file.release());
  return 0;
}

int do_open(const char* path, fuse_file_info* info) {
  const bool changes = (info->flags & O_ACCMODE) != O_RDONLY;
  if (is_control(path)) return open_file(path, info, info->flags, 0);
  if (const int error = meet("open", path, changes)) return error;
  return open_file(path, info, info->flags & ~O_NOFOLLOW, 0);
}

int do_create(const char* path, mode_t mode, fuse_file_info* info) {
  if (const int error = meet("create", path, true)) return error;
  if (const int error = refuse_name(path)) return error;
  return open_file(path, info, info->flags | O_CREAT | O_EXCL, mode);
}

// The file changes beneath its reader.
void change(const FaultRule& rule, const std::string& path) {
  const auto at = real(path);
  if (rule.action == "touch") ::utimensat(AT_FDCWD, at.c_str(), nullptr, 0);
  if (rule.action == "truncate") (void)!::truncate(at.c_str(), static_cast<off_t>(rule.to));
  if (rule.action != "append") return;
  const int fd = ::open(at.c_str(), O_WRONLY | O_APPEND | O_CLOEXEC);
  (void)!::write(fd, std::string(rule.len, '+').data(), rule.len);
  ::close(fd);
}

// What the reader is given instead of the bytes that are there.
void spoil(const FaultRule& rule, char* buffer, std::uint64_t offset, std::uint64_t size) {
  if (rule.action == "flip" && rule.at < offset + size) buffer[rule.at - offset] ^= 4;
  for (auto at = rule.at; rule.action == "zero" && at < rule.at + rule.len; ++at)
    if (at >= offset && at < offset + size) buffer[at - offset] = 0;
}

int do_read(const char* path, char* buffer, size_t size, off_t offset, fuse_file_info* info) {
  const auto& file = file_of(info);
  if (file.fd < 0) {
    const auto& told = file.control;
    const auto piece = static_cast<std::size_t>(offset) < told.size() ? told.substr(offset, size) : "";
    std::memcpy(buffer, piece.data(), piece.size());
    return static_cast<int>(piece.size());
  }
  if ((info->flags & O_DIRECT) && !disk->options.direct) return -EINVAL;
  const auto from = static_cast<std::uint64_t>(offset);
  const auto met = disk->rules.meet({"read", path, from, size, file.opening});
  for (const auto& rule : met) {
    if (rule.action == "err") return -rule.error;
    if (rule.action == "short") size = std::min(size, rule.max);
    change(rule, path);
  }
  const auto count = ::pread(file.fd, buffer, size, offset);
  if (count < 0) return -errno;
  for (const auto& rule : met) spoil(rule, buffer, from, static_cast<std::uint64_t>(count));
  return static_cast<int>(count);
}

int do_write(const char* path, const char* buffer, size_t size, off_t offset, fuse_file_info* info) {
  auto& file = file_of(info);
  if (file.fd < 0) {
    file.control.append(buffer, size);
    return static_cast<int>(size);
  }
  if ((info->flags & O_DIRECT) && !disk->options.direct) return -EINVAL;
  const auto from = static_cast<std::uint64_t>(offset);
  if (from + size > disk->options.most_bytes) return -EFBIG;
  std::string bytes(buffer, size);
  for (const auto& rule : disk->rules.meet({"write", path, from, size, 0})) {
    if (rule.action == "err") return -rule.error;
    if (rule.action == "flip") bytes[rule.at - from] ^= 4;
    if (rule.action == "short") bytes.resize(std::min(bytes.size(), rule.max));
    if (rule.action == "torn") bytes.resize(bytes.size() / 2);
    if (rule.action == "drop") bytes.clear();
    if (rule.action == "short") size = bytes.size();
  }
  if (::pwrite(file.fd, bytes.data(), bytes.size(), offset) < 0) return -errno;
  if (bytes.size() < size && ::lseek(file.fd, 0, SEEK_END) < static_cast<off_t>(from + size))
    (void)!::ftruncate(file.fd, static_cast<off_t>(from + size));
  disk->rules.wrote(size);
  return static_cast<int>(size);
}

int do_fallocate(const char* path, int mode, off_t offset, off_t length, fuse_file_info* info) {
  if (const int error = meet("fallocate", path, true)) return error;
  if (static_cast<std::uint64_t>(offset + length) > disk->options.most_bytes) return -EFBIG;
  return answer(::fallocate(file_of(info).fd, mode, offset, length));
}

int sync_unless_dropped(const char* operation, const char* path, const std::function<void()>& sync) {
  {
    MutexLock lock(disk->mu);
    disk->log += std::string(operation) + " " + path + "\n";
  }
  bool dropped = false;
  for (const auto& rule : disk->rules.meet({operation, path, 0, 0, 0})) {
    if (rule.action == "err") return -rule.error;
    dropped = dropped || rule.action == "drop";
  }
  if (disk->durable && !dropped) sync();
  return 0;
}

int do_fsync(const char* path, int, fuse_file_info* info) {
  return sync_unless_dropped("fsync", path, [&] { disk->durable->synced_file(file_of(info).fd); });
}

int do_fsyncdir(const char* path, int, fuse_file_info*) {
  return sync_unless_dropped("fsyncdir", path, [&] { disk->durable->synced_folder(path); });
}

int obey(const std::string& command) {
  const auto end = command.find('\n');
  const auto line = command.substr(0, end);
  if (line == "rules")
    return disk->rules.set(end == std::string::npos ? "" : command.substr(end + 1)).empty() ? 0 : -EINVAL;
  if (!line.starts_with("power-cut ") || !disk->durable) return -EINVAL;
  disk->durable->power_cut(static_cast<unsigned>(std::stoul(line.substr(10))));
  return 0;
}

// Each close() of a descriptor.
int do_flush(const char* path, fuse_file_info* info) {
  auto& file = file_of(info);
  if (file.fd >= 0) return meet("close", path);
  if (file.is_told || file.control.empty()) return 0;
  return obey(std::exchange(file.control, ""));
}

int do_release(const char*, fuse_file_info* info) {
  const std::unique_ptr<OpenFile> file(&file_of(info));
  if (file->fd >= 0) ::close(file->fd);
  return 0;
}

int do_opendir(const char* path, fuse_file_info* info) {
  auto folder = std::make_unique<OpenFolder>();
  boost::system::error_code error;
  for (boost::filesystem::directory_iterator it(real(path), error), end; !error && it != end; it.increment(error))
    folder->names.push_back(it->path().filename().string());
  if (error) return -error.value();
  std::sort(folder->names.begin(), folder->names.end());
  for (const auto& rule : disk->rules.meet({"readdir", path, 0, 0, 0})) {
    if (rule.action == "err") folder->breaks_at = static_cast<std::size_t>(rule.after);
    folder->error = rule.error;
    if (rule.action == "hide") std::erase(folder->names, rule.entry);
    const auto twice = folder->names;
    if (rule.action == "dup") folder->names.insert(folder->names.end(), twice.begin(), twice.end());
    if (rule.action != "loop" || Path(path).filename() == rule.entry) continue;
    folder->names.push_back(rule.entry);
    MutexLock lock(disk->mu);
    disk->loops[path] = rule.entry;
  }
  info->fh = reinterpret_cast<std::uint64_t>(folder.release());
  return 0;
}

int do_readdir(const char*, void* buffer, fuse_fill_dir_t fill, off_t offset, fuse_file_info* info,
               fuse_readdir_flags) {
  const auto& folder = folder_of(info);
  for (auto at = static_cast<std::size_t>(offset); at < folder.names.size(); ++at) {
    if (folder.breaks_at && at >= *folder.breaks_at) return at == static_cast<std::size_t>(offset) ? -folder.error : 0;
    if (fill(buffer, folder.names[at].c_str(), nullptr, static_cast<off_t>(at) + 1, {}) != 0) return 0;
  }
  return folder.breaks_at && static_cast<std::size_t>(offset) == folder.names.size() ? -folder.error : 0;
}

int do_releasedir(const char*, fuse_file_info* info) {
  delete &folder_of(info);
  return 0;
}

int do_statfs(const char*, struct statvfs* status) {
  return answer(::statvfs(disk->folder.c_str(), status));
}

void* do_init(fuse_conn_info* connection, fuse_config* config) {
  connection->want &= ~static_cast<unsigned>(FUSE_CAP_READDIRPLUS);
  config->use_ino = 1;
  config->hard_remove = 1;
  config->entry_timeout = config->attr_timeout = config->negative_timeout = 0;
  if (disk->options.ready >= 0) {
    (void)!::write(disk->options.ready, "+", 1);
    ::close(disk->options.ready);
  }
  return nullptr;
}

fuse_operations operations() {
  fuse_operations all{};
  all.init = do_init;
  all.getattr = do_getattr;
  all.mkdir = do_mkdir;
  all.unlink = do_unlink;
  all.rmdir = do_rmdir;
  all.rename = do_rename;
  all.link = do_link;
  all.chmod = do_chmod;
  all.truncate = do_truncate;
  all.utimens = do_utimens;
  all.open = do_open;
  all.create = do_create;
  all.read = do_read;
  all.write = do_write;
  all.fallocate = do_fallocate;
  all.fsync = do_fsync;
  all.fsyncdir = do_fsyncdir;
  all.flush = do_flush;
  all.release = do_release;
  all.opendir = do_opendir;
  all.readdir = do_readdir;
  all.releasedir = do_releasedir;
  all.statfs = do_statfs;
  return all;
}

bool set_option(Options& options, const std::string& word) {
  const auto equals = word.find('=');
  const auto name = word.substr(0, equals), value = equals == std::string::npos ? "" : word.substr(equals + 1);
  const std::map<std::string, bool*> off{{"--no-direct", &options.direct},
                                         {"--no-replace-flag", &options.replace_flag},
                                         {"--no-links", &options.links},
                                         {"--no-modes", &options.modes},
                                         {"--no-case", &options.by_case}};
  if (const auto it = off.find(name); it != off.end()) return *it->second = false, true;
  if (name == "--volatile") return options.is_volatile = true;
  if (name == "--cache") return options.cache = value, true;
  if (name == "--forbid") return options.forbid = value, true;
  if (name == "--most-bytes") return options.most_bytes = std::stoull(value), true;
  if (name == "--time-grain") return options.time_grain = std::stol(value), true;
  if (name == "--ready") return options.ready = std::stoi(value), true;
  return false;
}

}  // namespace
}  // namespace everytake::test

int main(int argc, char** argv) {
  using namespace everytake::test;
  Disk here;
  disk = &here;
  bool understood = argc >= 3;
  for (int i = 3; i < argc && understood; ++i) understood = set_option(here.options, argv[i]);
  if (!understood) return 2;
  here.folder = argv[1];
  if (here.options.is_volatile) here.durable = std::make_unique<Durable>(here.folder);
  ::umask(0);
  std::vector<std::string> words{argv[0], argv[2], "-f", "-o", "fsname=fault_mount"};
  std::vector<char*> arguments;
  for (auto& word : words) arguments.push_back(word.data());
  const auto calls = operations();
  return fuse_main(static_cast<int>(arguments.size()), arguments.data(), &calls, nullptr);
}
