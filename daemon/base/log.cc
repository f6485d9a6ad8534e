#include "base/log.h"

#include <fmt/format.h>

#include "base/text.h"

namespace everytake {

void Log::say(std::string_view what) {
  const auto line = fmt::format("{}  {}\n", local_time(clock_.now()), what);
  MutexLock lock(mu_);
  out_ << line << std::flush;
}

}  // namespace everytake
