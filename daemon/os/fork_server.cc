#include "os/fork_server.h"

#include <fcntl.h>
#include <signal.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cerrno>

#include "base/wire.h"
#include "os/system_error.h"

namespace everytake {
namespace {

enum class Reply : char { ended = 'e', not_started = 'n' };  // with a wait status, or an errno, packed
constexpr std::uint64_t kMostReply = 16;                     // bytes: a number is nine at most

int wait_for(pid_t pid) {
  int status = 0;
  while (::waitpid(pid, &status, 0) < 0 && errno == EINTR) {
  }
  return status;
}

// What posix_spawn is told, freed at the end.
struct SpawnPlan {
  posix_spawn_file_actions_t files;
  posix_spawnattr_t attributes;
  SpawnPlan() {
    ::posix_spawn_file_actions_init(&files);
    ::posix_spawnattr_init(&attributes);
  }
  ~SpawnPlan() {
    ::posix_spawn_file_actions_destroy(&files);
    ::posix_spawnattr_destroy(&attributes);
  }
  SpawnPlan(const SpawnPlan&) = delete;
  SpawnPlan& operator=(const SpawnPlan&) = delete;
};

Result<pid_t> spawn(const Path& program, std::string name, std::string word, int socket) {
  SpawnPlan plan;
  ::posix_spawn_file_actions_adddup2(&plan.files, socket, STDIN_FILENO);
  for (const int fd : {STDOUT_FILENO, STDERR_FILENO})
    ::posix_spawn_file_actions_addopen(&plan.files, fd, "/dev/null", O_WRONLY, 0);
  ::posix_spawn_file_actions_addclosefrom_np(&plan.files, STDERR_FILENO + 1);
  ::posix_spawn_file_actions_addchdir_np(&plan.files, "/");
  sigset_t none, all;
  sigemptyset(&none);
  sigfillset(&all);
  ::posix_spawnattr_setsigmask(&plan.attributes, &none);
  ::posix_spawnattr_setsigdefault(&plan.attributes, &all);
  ::posix_spawnattr_setpgroup(&plan.attributes, 0);  // of its own, with what is split off from it
  ::posix_spawnattr_setflags(&plan.attributes, POSIX_SPAWN_SETSIGMASK | POSIX_SPAWN_SETSIGDEF | POSIX_SPAWN_SETPGROUP);
  char* arguments[] = {name.data(), word.data(), nullptr};
  char* environment[] = {nullptr};
  pid_t pid = -1;
  const int failed = ::posix_spawn(&pid, program.c_str(), &plan.files, &plan.attributes, arguments, environment);
  if (failed) return tl::unexpected(system_error("can't be started", failed));
  return pid;
}

Result<void> reply(Channel& asking, Reply kind, int number) {
  return asking.send(static_cast<char>(kind), pack(number));
}

}  // namespace

Result<ForkServer> ForkServer::start(const Path& program, std::string name, std::string word) {
  auto [ours, theirs] = TRY(Channel::ends());
  const auto pid = TRY(spawn(program, std::move(name), std::move(word), theirs.get()));
  return ForkServer(pid, std::move(ours));
}

ForkServer::ForkServer(pid_t pid, Descriptor socket) : pid_(pid), channel_(std::move(socket)) {}

ForkServer::ForkServer(ForkServer&& other) noexcept
    : pid_(std::exchange(other.pid_, -1)), channel_(std::move(other.channel_)) {}

ForkServer::~ForkServer() {
  if (pid_ <= 0) return;
  ::kill(-pid_, SIGKILL);
  wait_for(pid_);
}

Result<void> ForkServer::split_off(int socket, int interrupt) {
  channel_.wait_at_most(Channel::kForever);  // it reads whatever it gets, and its buffer holds more than one
  return channel_.send_descriptor(socket, interrupt);
}

Result<int> ForkServer::how_it_ended(Channel::Duration patience, int interrupt) {
  channel_.wait_at_most(patience);
  const auto said = TRY(channel_.receive(kMostReply, interrupt));
  if (!said) return fail(Code::gone, "the process that starts others ended");
  const auto number = unpack<int>(said->body);
  if (!number) return fail(Code::gone, "the process that starts others went astray");
  if (said->kind == static_cast<char>(Reply::ended)) return *number;
  return fail(Code::gone, system_error("can't split off a process", *number).what);
}

void serve_forks(const std::function<int(Descriptor)>& work) {
  Channel asking{Descriptor(STDIN_FILENO)};
  for (;;) {
    auto socket = asking.receive_descriptor();
    if (!socket || !*socket) return;
    const pid_t pid = ::fork();
    if (pid == 0) {
      asking.close();
      ::_exit(work(std::move(**socket)));
    }
    const int failed = pid < 0 ? errno : 0;
    { const Descriptor closed(std::move(**socket)); }  // so that its end is seen
    if (!(failed ? reply(asking, Reply::not_started, failed) : reply(asking, Reply::ended, wait_for(pid)))) return;
  }
}

}  // namespace everytake
