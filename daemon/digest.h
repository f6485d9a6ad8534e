// Which bytes: a value that two files share only where they hold the same.
#pragma once

#include <array>
#include <compare>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace everytake {

// XXH3-128, most significant byte first. Hex only where it leaves the program: lists, JSON, messages.
struct Digest {
  std::array<std::uint8_t, 16> bytes{};
  auto operator<=>(const Digest&) const = default;
  std::string hex() const;                                        // 32 lower-case digits
  static std::optional<Digest> from_hex(std::string_view text);   // of 32 digits, and nothing else
  std::string_view raw() const;                                   // the bytes, for as long as this lives
  static std::optional<Digest> from_raw(std::string_view bytes);  // of 16 bytes, and nothing else
};

}  // namespace everytake
