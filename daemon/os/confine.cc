#include "os/confine.h"

#include <seccomp.h>
#include <sys/mman.h>
#include <sys/prctl.h>
#include <sys/resource.h>

#include <cerrno>
#include <memory>

#include "os/system_error.h"

namespace everytake {
namespace {

#if defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)
constexpr bool kSanitized = true;
#elif defined(__has_feature)
constexpr bool kSanitized = __has_feature(address_sanitizer) || __has_feature(thread_sanitizer);
#else
constexpr bool kSanitized = false;
#endif

constexpr rlim_t kOpenFiles = 8;

// Computing, and talking over what is open.
constexpr int kAllowed[] = {
    SCMP_SYS(read),
    SCMP_SYS(write),
    SCMP_SYS(recvfrom),
    SCMP_SYS(sendto),
    SCMP_SYS(recvmsg),
    SCMP_SYS(sendmsg),
    SCMP_SYS(poll),
    SCMP_SYS(ppoll),
    SCMP_SYS(close),
    SCMP_SYS(munmap),
    SCMP_SYS(mremap),
    SCMP_SYS(madvise),
    SCMP_SYS(brk),
    SCMP_SYS(futex),
    SCMP_SYS(clock_gettime),
    SCMP_SYS(gettimeofday),
    SCMP_SYS(getrandom),
    SCMP_SYS(rt_sigaction),
    SCMP_SYS(rt_sigreturn),
    SCMP_SYS(rt_sigprocmask),
    SCMP_SYS(sched_yield),
    SCMP_SYS(restart_syscall),
    SCMP_SYS(getpid),
    SCMP_SYS(gettid),
    SCMP_SYS(sched_getaffinity),
    SCMP_SYS(exit),
    SCMP_SYS(exit_group),
};
// Memory, as long as it is not code.
constexpr int kUnlessExecutable[] = {SCMP_SYS(mmap), SCMP_SYS(mprotect)};

// The first is where the system gives a sign, the second where it ends what did not heed it.
Result<void> limit(__rlimit_resource resource, rlim_t most, rlim_t end) {
  const rlimit both{most, end};
  if (::setrlimit(resource, &both) == 0) return {};
  return tl::unexpected(system_error("can't limit a process", errno));
}

Result<void> limit(__rlimit_resource resource, rlim_t most) {
  return limit(resource, most, most);
}

// Returns 0 or a negative errno.
int filter_calls() {
  const std::unique_ptr<void, void (*)(scmp_filter_ctx)> filter(::seccomp_init(SCMP_ACT_ERRNO(EPERM)),
                                                                &::seccomp_release);
  if (!filter) return -ENOMEM;
  for (const int call : kAllowed)
    if (const int failed = ::seccomp_rule_add(filter.get(), SCMP_ACT_ALLOW, call, 0)) return failed;
  const scmp_arg_cmp not_executable{.arg = 2, .op = SCMP_CMP_MASKED_EQ, .datum_a = PROT_EXEC, .datum_b = 0};
  for (const int call : kUnlessExecutable)
    if (const int failed = ::seccomp_rule_add(filter.get(), SCMP_ACT_ALLOW, call, 1, not_executable)) return failed;
  return ::seccomp_load(filter.get());
}

}  // namespace

Result<void> confine(const Limits& limits) {
  TRY(limit(RLIMIT_CPU, limits.cpu_seconds, limits.cpu_seconds + 1));
  TRY(limit(RLIMIT_FSIZE, 0));
  TRY(limit(RLIMIT_NOFILE, kOpenFiles));
  TRY(limit(RLIMIT_CORE, 0));
  if (::prctl(PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0) != 0)
    return tl::unexpected(system_error("can't give up the right to new rights", errno));
  if (kSanitized) return {};
  TRY(limit(RLIMIT_AS, limits.memory_bytes));
  const int failed = filter_calls();
  if (failed == 0 || failed == -EINVAL || failed == -ENOSYS) return {};  // a kernel without it refuses so
  return tl::unexpected(system_error("can't limit the system calls of a process", -failed));
}

}  // namespace everytake
