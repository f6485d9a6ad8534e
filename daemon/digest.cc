#include "digest.h"

#include <algorithm>
#include <charconv>

#include "base/text.h"

namespace everytake {

std::string Digest::hex() const {
  return lower_hex(raw());
}

std::optional<Digest> Digest::from_hex(std::string_view text) {
  Digest digest;
  if (text.size() != 2 * digest.bytes.size()) return std::nullopt;
  for (std::size_t i = 0; i < digest.bytes.size(); ++i) {
    const char* at = text.data() + 2 * i;
    const auto [end, error] = std::from_chars(at, at + 2, digest.bytes[i], 16);
    if (error != std::errc{} || end != at + 2) return std::nullopt;
  }
  return digest;
}

std::string_view Digest::raw() const {
  return {reinterpret_cast<const char*>(bytes.data()), bytes.size()};
}

std::optional<Digest> Digest::from_raw(std::string_view bytes) {
  Digest digest;
  if (bytes.size() != digest.bytes.size()) return std::nullopt;
  std::ranges::copy(bytes, reinterpret_cast<char*>(digest.bytes.data()));
  return digest;
}

}  // namespace everytake
