#include "support/mount/fault_mount.h"

#include <fcntl.h>
#include <sys/mount.h>
#include <sys/prctl.h>
#include <sys/wait.h>
#include <unistd.h>

#include <boost/filesystem.hpp>
#include <csignal>
#include <stdexcept>

#include "support/rooms.h"
#include "support/shell.h"
#include "support/temp_dir.h"

namespace everytake::test {
namespace {

// Starts the server and waits until it answers, or has ended. 0 where it did not come up.
int serve(std::vector<std::string> words) {
  int ready[2];
  if (::pipe(ready) != 0) return 0;
  words.push_back("--ready=" + std::to_string(ready[1]));
  std::vector<char*> arguments;
  for (auto& word : words) arguments.push_back(word.data());
  arguments.push_back(nullptr);
  const pid_t child = ::fork();
  if (child == 0) {
    ::close(ready[0]);
    ::prctl(PR_SET_PDEATHSIG, SIGKILL);
    const int none = ::open("/dev/null", O_RDWR);
    for (const int fd : {STDIN_FILENO, STDOUT_FILENO, STDERR_FILENO}) ::dup2(none, fd);
    ::execv(arguments[0], arguments.data());
    ::_exit(127);
  }
  ::close(ready[1]);
  char byte = 0;
  const bool came_up = ::read(ready[0], &byte, 1) == 1;
  ::close(ready[0]);
  if (came_up) return child;
  ::waitpid(child, nullptr, 0);
  return 0;
}

}  // namespace

FaultMount::FaultMount(Path folder, Path point, std::vector<std::string> options) : point_(std::move(point)) {
  boost::filesystem::create_directories(folder);
  boost::filesystem::create_directories(point_);
  if (!own_mounts()) return;
  std::vector<std::string> words{EVERYTAKE_FAULT_MOUNT, folder.string(), point_.string()};
  words.insert(words.end(), options.begin(), options.end());
  server_ = serve(std::move(words));
}

FaultMount::~FaultMount() {
  ::umount2(point_.c_str(), MNT_FORCE | MNT_DETACH);
  die();
}

void FaultMount::die() {
  if (server_ == 0) return;
  ::kill(server_, SIGKILL);
  ::waitpid(server_, nullptr, 0);
  server_ = 0;
}

void FaultMount::command(const std::string& text) const {
  const int fd = ::open((point_ / ".fault-control").c_str(), O_WRONLY | O_CLOEXEC);
  const bool written = ::write(fd, text.data(), text.size()) == static_cast<ssize_t>(text.size());
  if (::close(fd) != 0 || !written) throw std::runtime_error("the mount does not understand: " + text);
}

void FaultMount::await_stall() const {
  while (log().find("stalled 0\n") != std::string::npos) ::usleep(2000);
}

std::string FaultMount::log() const {
  return get_file(point_ / ".fault-control");
}

}  // namespace everytake::test
