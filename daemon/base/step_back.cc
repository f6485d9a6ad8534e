#include "base/step_back.h"

#include <linux/ioprio.h>
#include <sys/resource.h>
#include <sys/syscall.h>
#include <unistd.h>

namespace everytake {

void step_back() {
  constexpr int kNice = 10;
  (void)::setpriority(PRIO_PROCESS, 0, kNice);
  (void)::syscall(SYS_ioprio_set, IOPRIO_WHO_PROCESS, 0, IOPRIO_PRIO_VALUE(IOPRIO_CLASS_IDLE, 0));
}

}  // namespace everytake
