#include "os/background_priority.h"

#include <sys/resource.h>
#include <sys/syscall.h>
#include <unistd.h>

namespace everytake {
namespace {

// As ioprio_set(2) tells them: the kernel's own header for these is not C++ in some versions.
constexpr int kThisThread = 0, kWhoProcess = 1;
constexpr int kClassShift = 13, kClassIdle = 3;

}  // namespace

void enter_background_priority() {
  constexpr int kNice = 10;
  (void)::setpriority(PRIO_PROCESS, kThisThread, kNice);
  (void)::syscall(SYS_ioprio_set, kWhoProcess, kThisThread, kClassIdle << kClassShift);
}

}  // namespace everytake
