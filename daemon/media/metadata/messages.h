// Messages in the wire format of Protocol Buffers (protobuf.dev, "Encoding"), read by the numbers of their fields.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string_view>
#include <vector>

namespace everytake::media {

struct MessageField {
  enum class Kind : std::uint8_t { number = 0, eight_bytes = 1, bytes = 2, four_bytes = 5 };
  Kind kind{};
  std::uint64_t number = 0;  // of every kind but bytes; the bits of a float
  std::string_view bytes{};  // of Kind::bytes: text, or a message inside
};

// The field that a path of field numbers leads to through messages inside messages: {1, 1, 10}. Where one stands more
// than once the last counts, and messages are not merged. nullopt where it is not there, or the message is cut before
// its end.
std::optional<MessageField> find_field(std::string_view message, std::span<const int> path);

// Whole numbers one after the other, as a repeated field is packed. None where the bytes are no such list, or one of
// over 100.
std::vector<std::uint64_t> packed_numbers(std::string_view bytes);

}  // namespace everytake::media
