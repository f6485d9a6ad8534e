#include "support/tracer.h"

#include <fcntl.h>
#include <linux/filter.h>
#include <linux/seccomp.h>
#include <signal.h>
#include <sys/prctl.h>
#include <sys/ptrace.h>
#include <sys/syscall.h>
#include <sys/user.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cstddef>
#include <cstdlib>
#include <map>

#include "support/rooms.h"
#include "support/sanitized.h"

namespace everytake::test {

std::set<int> durable_calls() {
  return {SYS_fsync,    SYS_fdatasync, SYS_syncfs,  SYS_rename,  SYS_renameat,  SYS_renameat2, SYS_unlink,
          SYS_unlinkat, SYS_mkdir,     SYS_mkdirat, SYS_openat2, SYS_ftruncate, SYS_fallocate, SYS_utimensat,
          SYS_pwrite64, SYS_write,     SYS_close,   SYS_linkat,  SYS_openat,    SYS_open};
}

std::set<int> file_calls() {
  auto calls = durable_calls();
  calls.insert({SYS_read, SYS_pread64, SYS_getdents64, SYS_newfstatat, SYS_fstat, SYS_statx, SYS_fstatfs, SYS_fcntl,
                SYS_flock, SYS_ioctl, SYS_fadvise64, SYS_lseek});
  return calls;
}

std::set<int> moving_calls() {
  return {SYS_read, SYS_write, SYS_pread64, SYS_pwrite64};
}

#if defined(__x86_64__)

namespace {

constexpr int kNoFilter = 126;  // how the child ends where it may not filter its calls: a program of ours never does
constexpr int kSyscallStop = SIGTRAP | 0x80;

class Run {
 public:
  Run(const std::set<int>& calls, const CallFault& fault) : calls_(calls), fault_(fault) {}

  std::optional<Traced> run(std::vector<std::string>& arguments) {
    child_ = ::fork();
    if (child_ == 0) start(arguments);
    int status = 0;
    if (::waitpid(child_, &status, 0) < 0 || !WIFSTOPPED(status)) return std::nullopt;
    ::ptrace(PTRACE_SETOPTIONS, child_, 0,
             PTRACE_O_TRACESYSGOOD | PTRACE_O_TRACESECCOMP | PTRACE_O_TRACECLONE | PTRACE_O_EXITKILL);
    ::ptrace(PTRACE_CONT, child_, 0, 0);
    for (;;) {
      const pid_t thread = ::waitpid(-1, &status, __WALL);
      if (thread < 0) return traced_;
      if (WIFSTOPPED(status)) {
        stopped(thread, status);
      } else if (thread == child_) {
        if (WIFEXITED(status) && WEXITSTATUS(status) == kNoFilter) return std::nullopt;
        if (WIFEXITED(status)) traced_.exit = WEXITSTATUS(status);
        if (WIFSIGNALED(status) && WTERMSIG(status) != SIGKILL) traced_.exit = 128 + WTERMSIG(status);
        return traced_;  // its threads ended before: the kernel tells of the first one last
      }
    }
  }

 private:
  // In the child: lets the chosen calls stop it, and becomes the program.
  [[noreturn]] void start(std::vector<std::string>& arguments) const {
    std::vector<sock_filter> filter{BPF_STMT(BPF_LD | BPF_W | BPF_ABS, offsetof(seccomp_data, nr))};
    for (const int call : calls_) {
      filter.push_back(BPF_JUMP(BPF_JMP | BPF_JEQ | BPF_K, static_cast<unsigned>(call), 0, 1));
      filter.push_back(BPF_STMT(BPF_RET | BPF_K, SECCOMP_RET_TRACE));
    }
    filter.push_back(BPF_STMT(BPF_RET | BPF_K, SECCOMP_RET_ALLOW));
    std::vector<char*> words;
    for (auto& each : arguments) words.push_back(each.data());
    words.push_back(nullptr);
    if (kSanitized) {  // the search for leaks is a tracer itself, and there can be only one
      const char* set = std::getenv("ASAN_OPTIONS");
      ::setenv("ASAN_OPTIONS", (std::string(set ? set : "") + ":detect_leaks=0").c_str(), 1);
    }
    const int none = ::open("/dev/null", O_RDWR);
    for (const int fd : {STDIN_FILENO, STDOUT_FILENO, STDERR_FILENO}) ::dup2(none, fd);
    ::close(none);
    if (::ptrace(PTRACE_TRACEME, 0, 0, 0) != 0) ::_exit(127);
    ::raise(SIGSTOP);  // until the tracer has said what it wants
    const sock_fprog program{static_cast<unsigned short>(filter.size()), filter.data()};
    ::prctl(PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0);
    if (::prctl(PR_SET_SECCOMP, SECCOMP_MODE_FILTER, &program) != 0) ::_exit(kNoFilter);
    ::execv(words[0], words.data());
    ::_exit(127);
  }

  void stopped(pid_t thread, int status) {
    const int signal = WSTOPSIG(status);
    if (status >> 8 == (SIGTRAP | (PTRACE_EVENT_SECCOMP << 8))) {
      begins(thread);
      ::ptrace(PTRACE_SYSCALL, thread, 0, 0);  // stops once more, where it ends
      return;
    }
    if (signal == kSyscallStop) ends(thread);
    const bool ours = signal == kSyscallStop || signal == SIGTRAP || signal == SIGSTOP;
    ::ptrace(PTRACE_CONT, thread, 0, ours ? 0 : signal);
  }

  // A sanitizer asks by writing to a pipe whether memory may be read, and takes no other answer for one.
  bool is_the_sanitizers(const user_regs_struct& registers) const {
    if (!kSanitized || registers.orig_rax != SYS_write) return false;
    const auto file = "/proc/" + std::to_string(child_) + "/fd/" + std::to_string(registers.rdi);
    char target[64] = {};
    return ::readlink(file.c_str(), target, sizeof target - 1) > 0 && std::string_view(target).starts_with("pipe:");
  }

  bool is_point() { return ++traced_.points == fault_.at; }

  void begins(pid_t thread) {
    if (!is_point()) return;
    traced_.met = true;
    if (fault_.what == CallFault::What::kill) ::kill(child_, SIGKILL);
    if (fault_.what == CallFault::What::nothing || fault_.what == CallFault::What::kill) return;
    user_regs_struct registers{};
    ::ptrace(PTRACE_GETREGS, thread, 0, &registers);
    const auto call = registers.orig_rax;
    if (is_the_sanitizers(registers)) {
      traced_.met = false;
      return;
    }
    if (fault_.what == CallFault::What::fail) {
      registers.orig_rax = static_cast<unsigned long long>(-1);  // no such call: nothing is done
    } else {
      const bool moves_bytes = call == SYS_read || call == SYS_write || call == SYS_pread64 || call == SYS_pwrite64;
      if (!moves_bytes || registers.rdx < 2) {
        traced_.met = false;
        return;
      }
      asked_ = registers.rdx;
      registers.rdx /= 2;
    }
    altered_ = thread;
    ::ptrace(PTRACE_SETREGS, thread, 0, &registers);
  }

  void ends(pid_t thread) {
    if (fault_.what == CallFault::What::kill && is_point()) {
      traced_.met = true;
      ::kill(child_, SIGKILL);
    }
    if (altered_ != thread) return;
    altered_ = 0;
    user_regs_struct registers{};
    ::ptrace(PTRACE_GETREGS, thread, 0, &registers);
    if (fault_.what == CallFault::What::fail) registers.rax = static_cast<unsigned long long>(-fault_.error);
    if (fault_.what == CallFault::What::shorten) registers.rdx = asked_;
    ::ptrace(PTRACE_SETREGS, thread, 0, &registers);
  }

  const std::set<int>& calls_;
  const CallFault fault_;
  pid_t child_ = 0;
  pid_t altered_ = 0;  // the thread whose call is being made to go wrong
  unsigned long long asked_ = 0;
  Traced traced_;
};

}  // namespace

std::optional<Traced> run_traced(std::vector<std::string> arguments, const std::set<int>& calls,
                                 const CallFault& fault) {
  return Run(calls, fault).run(arguments);
}

#else

std::optional<Traced> run_traced(std::vector<std::string>, const std::set<int>&, const CallFault&) {
  return std::nullopt;
}

#endif

}  // namespace everytake::test
