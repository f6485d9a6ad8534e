// Times. Wall-clock time is shown and stored, never decided upon; lengths of waiting come from a steady clock.
#pragma once

#include <chrono>
#include <string>

namespace everytake {

using Micros = std::chrono::microseconds;                          // a length of time, and a time in the song
using Instant = std::chrono::sys_time<Micros>;                     // a moment, UTC
using FileTime = std::chrono::sys_time<std::chrono::nanoseconds>;  // a file's own time

class Clock {
 public:
  virtual ~Clock() = default;
  virtual Instant now() const = 0;
  virtual std::chrono::steady_clock::time_point steady() const = 0;
};

class SystemClock final : public Clock {
 public:
  Instant now() const override { return std::chrono::floor<Micros>(std::chrono::system_clock::now()); }
  std::chrono::steady_clock::time_point steady() const override { return std::chrono::steady_clock::now(); }
};

inline double seconds(Micros t) {
  return std::chrono::duration<double>(t).count();
}
inline Micros from_seconds(double s) {
  return Micros(static_cast<std::int64_t>(s * 1e6 + (s < 0 ? -0.5 : 0.5)));
}

}  // namespace everytake
