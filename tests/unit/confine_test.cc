// Each test gives itself up to the limits in a process of its own.
#include "os/confine.h"

#include <fcntl.h>
#include <gtest/gtest.h>
#include <sys/mman.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <unistd.h>

#include <csignal>
#include <functional>

#include "support/rooms.h"
#include "support/sanitized.h"

namespace everytake {
namespace {

using test::kSanitized;

// Its exit code, or 128 + the signal that ended it.
int in_confinement(const Limits& limits, const std::function<int()>& work) {
  const pid_t pid = ::fork();
  if (pid == 0) ::_exit(confine(limits) ? work() : 99);
  int status = 0;
  ::waitpid(pid, &status, 0);
  return WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
}

int spin() {
  for (volatile bool never = false; !never;) {
  }
  return 1;
}

constexpr Limits kRoomy{1ULL << 32, 10};

TEST(Confine, LeavesComputingAndWhatIsOpen) {
  EXPECT_EQ(in_confinement(kRoomy,
                           [] {
                             int ends[2] = {STDIN_FILENO, STDOUT_FILENO};
                             std::vector<char> memory(64 << 20, 'x');
                             return ::write(ends[1], "", 0) == 0 && memory[5'000'000] == 'x' ? 7 : 1;
                           }),
            7);
}

TEST(Confine, TakesAwayEveryOtherCall) {
  if (kSanitized) GTEST_SKIP() << "a sanitizer needs those calls";
  const std::pair<const char*, std::function<bool()>> tried[] = {
      {"opening a file", [] { return ::open("/etc/hostname", O_RDONLY) >= 0; }},
      {"making a file", [] { return ::open("/tmp/everytake-never", O_WRONLY | O_CREAT, 0600) >= 0; }},
      {"removing one", [] { return ::unlink("/tmp/everytake-never") == 0; }},
      {"talking to the network", [] { return ::socket(AF_INET, SOCK_STREAM, 0) >= 0; }},
      {"another process", [] { return ::fork() >= 0; }},
      {"a signal to another", [] { return ::kill(::getppid(), 0) == 0; }},
      {"memory that is code",
       [] { return ::mmap(nullptr, 4096, PROT_READ | PROT_EXEC, MAP_PRIVATE | MAP_ANONYMOUS, -1, 0) != MAP_FAILED; }},
      {"looking at a folder", [] { return ::chdir("/") == 0; }},
  };
  for (const auto& [what, could] : tried)
    EXPECT_EQ(in_confinement(kRoomy, [&could = could] { return could() ? 1 : errno == EPERM ? 7 : 2; }), 7) << what;
}

TEST(Confine, LimitsMemory) {
  if (kSanitized) GTEST_SKIP() << "a sanitizer needs more memory";
  EXPECT_EQ(in_confinement({256 << 20, 10},
                           [] {
                             return ::mmap(nullptr, 512 << 20, PROT_READ | PROT_WRITE, MAP_PRIVATE | MAP_ANONYMOUS, -1,
                                           0) == MAP_FAILED
                                        ? 7
                                        : 1;
                           }),
            7);
}

TEST(Confine, LimitsComputing) {
  EXPECT_EQ(in_confinement({1ULL << 32, 1}, spin), 128 + SIGXCPU);
}

}  // namespace
}  // namespace everytake
