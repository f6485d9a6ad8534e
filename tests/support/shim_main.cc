// Loaded before the C library by LD_PRELOAD: lets a program run out of memory, sees the clock jump, or keeps the cache
// from being left. Counting starts with the program's own main(), which sets a signal before all else: what the loader
// and libraries' constructors do is not ours to mend.
//
//   SHIM_MALLOC_FAIL=N    the N-th allocation fails;  SHIM_MALLOC_STICKY=1: and all later ones
//   SHIM_MALLOC_COUNT=FILE  says there at the end how many allocations there were
//   SHIM_CLOCK_AFTER=N    from the N-th look at the wall clock on it is off by SHIM_CLOCK_JUMP seconds
//   SHIM_NO_FADVISE=1     posix_fadvise() says yes and does nothing
#include <dlfcn.h>
#include <errno.h>
#include <signal.h>
#include <time.h>

#include <atomic>
#include <cstdio>
#include <cstdlib>

extern "C" {

void* __libc_malloc(size_t size);
void* __libc_calloc(size_t count, size_t size);
void* __libc_realloc(void* old, size_t size);
void* __libc_memalign(size_t alignment, size_t size);

static std::atomic<long> allocations{-1};  // until main() begins
static std::atomic<long> looks{0};

static long number_of(const char* name) {
  const char* text = std::getenv(name);
  return text ? std::atol(text) : 0;
}

static const long fail_at = number_of("SHIM_MALLOC_FAIL");
static const bool sticky = number_of("SHIM_MALLOC_STICKY") != 0;
static const long clock_after = number_of("SHIM_CLOCK_AFTER");
static const long clock_jump = number_of("SHIM_CLOCK_JUMP");
static const bool no_fadvise = number_of("SHIM_NO_FADVISE") != 0;

static const char* const count_file = std::getenv("SHIM_MALLOC_COUNT");

__attribute__((destructor)) static void tell_count() {
  const long count = allocations.exchange(-2);
  FILE* file = count_file ? std::fopen(count_file, "w") : nullptr;
  if (!file) return;
  std::fprintf(file, "%ld\n", count);
  std::fclose(file);
}

static bool runs_out() {
  if ((fail_at == 0 && !count_file) || allocations < 0) return false;
  const long now = ++allocations;
  if (fail_at == 0 || (now != fail_at && !(sticky && now > fail_at))) return false;
  errno = ENOMEM;
  return true;
}

void* malloc(size_t size) {
  return runs_out() ? nullptr : __libc_malloc(size);
}
void* calloc(size_t count, size_t size) {
  return runs_out() ? nullptr : __libc_calloc(count, size);
}
void* realloc(void* old, size_t size) {
  return runs_out() ? nullptr : __libc_realloc(old, size);
}
void* aligned_alloc(size_t alignment, size_t size) {
  return runs_out() ? nullptr : __libc_memalign(alignment, size);
}
void* memalign(size_t alignment, size_t size) {
  return runs_out() ? nullptr : __libc_memalign(alignment, size);
}
int posix_memalign(void** result, size_t alignment, size_t size) {
  if (runs_out()) return ENOMEM;
  *result = __libc_memalign(alignment, size);
  return *result ? 0 : ENOMEM;
}

sighandler_t signal(int number, sighandler_t handler) noexcept {
  static const auto real = reinterpret_cast<sighandler_t (*)(int, sighandler_t)>(dlsym(RTLD_NEXT, "signal"));
  long none = -1;
  allocations.compare_exchange_strong(none, 0);
  return real(number, handler);
}

int clock_gettime(clockid_t clock, struct timespec* time) noexcept {
  static const auto real = reinterpret_cast<int (*)(clockid_t, timespec*)>(dlsym(RTLD_NEXT, "clock_gettime"));
  const int result = real(clock, time);
  if (result == 0 && clock == CLOCK_REALTIME && clock_jump != 0 && ++looks >= clock_after) time->tv_sec += clock_jump;
  return result;
}

int posix_fadvise(int fd, off_t offset, off_t length, int advice) noexcept {
  static const auto real = reinterpret_cast<int (*)(int, off_t, off_t, int)>(dlsym(RTLD_NEXT, "posix_fadvise"));
  return no_fadvise ? 0 : real(fd, offset, length, advice);
}

}  // extern "C"
