#include "os/heap_policy.h"

#include <malloc.h>

namespace everytake {

void give_memory_back() {
  constexpr int kLarge = 1 << 20;  // bytes; the C library would raise its own limit with each piece that is freed
  (void)::mallopt(M_MMAP_THRESHOLD, kLarge);
  (void)::mallopt(M_TRIM_THRESHOLD, kLarge);
}

void keep_memory() {
  (void)::mallopt(M_MMAP_MAX, 0);
  (void)::mallopt(M_TRIM_THRESHOLD, -1);
}

}  // namespace everytake
