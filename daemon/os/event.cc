#include "os/event.h"

#include <sys/eventfd.h>
#include <unistd.h>

#include <cerrno>

#include "os/system_error.h"

namespace everytake {

Result<Event> Event::open() {
  Descriptor event(::eventfd(0, EFD_CLOEXEC | EFD_NONBLOCK));
  if (event.get() < 0) return tl::unexpected(system_error("can't make an event", errno));
  return Event(std::move(event));
}

// A full counter refuses the write, and is rung already.
void Event::ring() const {
  const std::uint64_t one = 1;
  [[maybe_unused]] const auto written = ::write(event_.get(), &one, sizeof one);
}

void Event::clear() const {
  std::uint64_t count = 0;
  [[maybe_unused]] const auto got = ::read(event_.get(), &count, sizeof count);
}

}  // namespace everytake
