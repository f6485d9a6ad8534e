#include "cli/local_moment.h"

#include <ctime>

namespace everytake::cli {

std::optional<Instant> parse_local_moment(const std::string& text, Instant now) {
  const auto seconds_now = std::chrono::system_clock::to_time_t(std::chrono::floor<std::chrono::seconds>(now));
  for (const char* form : {"%Y-%m-%d %H:%M:%S", "%Y-%m-%d %H:%M", "%H:%M:%S", "%H:%M"}) {
    std::tm local{};
    if (!::localtime_r(&seconds_now, &local)) return std::nullopt;
    local.tm_sec = 0;
    local.tm_isdst = -1;  // the zone's rules tell
    const char* end = ::strptime(text.c_str(), form, &local);
    if (!end || *end != '\0') continue;
    const std::tm said = local;
    const auto moment = std::mktime(&local);
    const bool is_a_day = local.tm_mday == said.tm_mday && local.tm_mon == said.tm_mon && said.tm_year > 0;
    if (moment == -1 || !is_a_day) return std::nullopt;  // "2026-11-31"
    const Instant instant{std::chrono::seconds(moment)};
    const bool has_day = text.find('-') != std::string::npos;
    return has_day || instant <= now ? std::optional(instant) : std::nullopt;
  }
  return std::nullopt;
}

}  // namespace everytake::cli
