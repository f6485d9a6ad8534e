// Gives away what a process does not need, before it touches bytes that may be crafted.
#pragma once

#include <cstdint>

#include "base/result.h"

namespace everytake {

struct Limits {
  std::uint64_t memory_bytes = 0;  // of address space
  unsigned cpu_seconds = 0;        // of computing; then SIGXCPU ends the process
};

// For the rest of this process: no more memory and computing than `limits`, no file that grows, no core file, no new
// rights, and, where the kernel has seccomp, no system call but those that compute, and read and write what is open
// now; any other fails with EPERM. What is open stays open. Built with a sanitizer, which needs more than that, the
// process keeps its memory and its calls. No thread of its own may run besides.
Result<void> confine(const Limits& limits);

}  // namespace everytake
