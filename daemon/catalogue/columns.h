// How values of the model stand in columns.
#pragma once

#include <optional>
#include <string>

#include "catalogue/db.h"
#include "model.h"

namespace everytake {

inline std::int64_t micros(Instant t) {
  return t.time_since_epoch().count();
}
inline Instant instant(std::int64_t micros) {
  return Instant(Micros(micros));
}
inline std::int64_t nanos(FileTime t) {
  return t.time_since_epoch().count();
}
inline FileTime file_time(std::int64_t nanos) {
  return FileTime(std::chrono::nanoseconds(nanos));
}
inline Blob blob(const Path& path) {
  return {path.string()};
}

template <class T, class F>
auto map(const std::optional<T>& value, F f) -> std::optional<decltype(f(*value))> {
  if (!value) return std::nullopt;
  return f(*value);
}

Blob blob_of_hex(std::string_view hex);
const char* readback_text(Evidence evidence);
std::optional<Evidence> readback_of(const std::string& text);
CopyState copy_state_of(const std::string& text);
By by_of(const std::string& text);
Placement::State placement_state_of(const std::string& text);
std::string spans_text(const std::vector<Span>& spans);  // JSON: [[start_us, end_us], …]
std::vector<Span> spans_of(const std::string& text);
std::string candidates_text(const std::vector<Placement::Candidate>& candidates);
std::vector<Placement::Candidate> candidates_of(const std::string& text);

}  // namespace everytake
