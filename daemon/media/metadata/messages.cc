#include "media/metadata/messages.h"

namespace everytake::media {
namespace {

// Takes a number off the front of `bytes`: seven bits a byte, the lowest first, the top bit set where more follow.
std::optional<std::uint64_t> take_number(std::string_view& bytes) {
  std::uint64_t value = 0;
  for (unsigned shift = 0; shift < 64 && !bytes.empty(); shift += 7) {
    const auto byte = static_cast<unsigned char>(bytes.front());
    bytes.remove_prefix(1);
    value |= std::uint64_t{byte & 0x7Fu} << shift;
    if (byte < 0x80) return value;
  }
  return std::nullopt;
}

std::optional<std::string_view> take_bytes(std::string_view& bytes, std::uint64_t length) {
  if (length > bytes.size()) return std::nullopt;
  const auto taken = bytes.substr(0, length);
  bytes.remove_prefix(length);
  return taken;
}

// The same of a number that always takes `length` bytes, the lowest first.
std::optional<std::uint64_t> take_whole_number(std::string_view& bytes, std::size_t length) {
  auto taken = take_bytes(bytes, length);
  if (!taken) return std::nullopt;
  std::uint64_t value = 0;
  for (; !taken->empty(); taken->remove_suffix(1)) value = value << 8 | static_cast<unsigned char>(taken->back());
  return value;
}

// Takes the value of a field whose kind `key` tells; nullopt for the kinds that are no longer in use.
std::optional<MessageField> take_value(std::string_view& bytes, std::uint64_t key) {
  const auto kind = static_cast<MessageField::Kind>(key & 7);
  std::optional<std::uint64_t> number;
  switch (kind) {
    case MessageField::Kind::number:
      number = take_number(bytes);
      break;
    case MessageField::Kind::eight_bytes:
      number = take_whole_number(bytes, 8);
      break;
    case MessageField::Kind::four_bytes:
      number = take_whole_number(bytes, 4);
      break;
    case MessageField::Kind::bytes: {
      const auto length = take_number(bytes);
      const auto taken = length ? take_bytes(bytes, *length) : std::nullopt;
      return taken ? std::optional(MessageField{.kind = kind, .bytes = *taken}) : std::nullopt;
    }
  }
  return number ? std::optional(MessageField{.kind = kind, .number = *number}) : std::nullopt;
}

}  // namespace

std::optional<MessageField> find_field(std::string_view message, std::span<const int> path) {
  MessageField found{.kind = MessageField::Kind::bytes, .bytes = message};
  for (const int number : path) {
    if (found.kind != MessageField::Kind::bytes) return std::nullopt;
    std::optional<MessageField> last;
    for (auto rest = found.bytes; !rest.empty();) {
      const auto key = take_number(rest);
      const auto field = key ? take_value(rest, *key) : std::nullopt;
      if (!field) return std::nullopt;
      if (*key >> 3 == static_cast<std::uint64_t>(number)) last = field;
    }
    if (!last) return std::nullopt;
    found = *last;
  }
  return found;
}

std::vector<std::uint64_t> packed_numbers(std::string_view bytes) {
  constexpr std::size_t kMost = 100;
  std::vector<std::uint64_t> numbers;
  while (!bytes.empty()) {
    const auto number = take_number(bytes);
    if (!number || numbers.size() == kMost) return {};
    numbers.push_back(*number);
  }
  return numbers;
}

}  // namespace everytake::media
