#include "base/log.h"

#include <fmt/chrono.h>
#include <fmt/format.h>

namespace everytake {

void Log::say(std::string_view what) {
  const auto now = std::chrono::system_clock::to_time_t(std::chrono::floor<std::chrono::seconds>(clock_.now()));
  const auto line = fmt::format("{:%Y-%m-%d %H:%M:%S}  {}\n", fmt::localtime(now), what);
  MutexLock lock(mu_);
  out_ << line << std::flush;
}

}  // namespace everytake
