// Keys, lengths and values (SMPTE ST 336): what MXF files and acquisition metadata are made of.
#pragma once

#include <cstdint>
#include <optional>
#include <string_view>

namespace everytake::media {

inline constexpr std::size_t kKlvKey = 16;            // bytes of a universal label (ST 298)
inline constexpr std::size_t kKlvHead = kKlvKey + 9;  // of a key and the longest length

// Where the value of the item that `bytes` begin with lies, counted from its key: perhaps past the end of `bytes`.
// nullopt where no universal label and length stand there.
struct KlvValue {
  std::uint64_t begin = 0, end = 0;
};
std::optional<KlvValue> klv_value(std::string_view bytes);

}  // namespace everytake::media
