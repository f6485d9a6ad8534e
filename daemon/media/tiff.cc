#include "media/tiff.h"

#include <algorithm>

namespace everytake {
namespace {

// Bytes of one value, by its type.
constexpr std::size_t kSizes[] = {0, 1, 1, 2, 4, 8, 1, 1, 2, 4, 8, 4, 8};
constexpr std::uint32_t kMostEntries = 1000;

}  // namespace

std::optional<Tiff> Tiff::open(std::string_view bytes) {
  if (bytes.size() < 8) return std::nullopt;
  const auto mark = bytes.substr(0, 2);
  if (mark != "II" && mark != "MM") return std::nullopt;
  Tiff tiff(bytes, mark == "II", 0);
  if (tiff.integer(2, 2) != 42) return std::nullopt;
  tiff.first_ = tiff.integer(4, 4);
  return tiff;
}

std::uint32_t Tiff::integer(std::size_t at, std::size_t length) const {
  if (at > bytes_.size() || length > bytes_.size() - at) return 0;
  std::uint32_t value = 0;
  for (std::size_t i = 0; i < length; ++i) {
    const auto byte = static_cast<unsigned char>(bytes_[at + (little_ ? length - 1 - i : i)]);
    value = value << 8 | byte;
  }
  return value;
}

std::optional<Tiff::Entry> Tiff::find(std::uint32_t directory, int tag) const {
  const std::uint32_t count = std::min(integer(directory, 2), kMostEntries);
  for (std::uint32_t i = 0; i < count; ++i) {
    const std::size_t at = std::size_t{directory} + 2 + std::size_t{12} * i;
    if (static_cast<int>(integer(at, 2)) != tag) continue;
    Entry entry{static_cast<int>(integer(at + 2, 2)), integer(at + 4, 4), {}, 0};
    const auto type = static_cast<std::size_t>(entry.type);
    const std::size_t length = type < std::size(kSizes) ? kSizes[type] * entry.count : 0;
    const std::size_t where = length <= 4 ? at + 8 : integer(at + 8, 4);
    if (length == 0 || where > bytes_.size() || length > bytes_.size() - where) return std::nullopt;
    entry.value = bytes_.substr(where, length);
    entry.where = static_cast<std::uint32_t>(where);
    return entry;
  }
  return std::nullopt;
}

std::optional<std::int64_t> Tiff::number(const Entry& entry, std::uint32_t n) const {
  const auto type = static_cast<std::size_t>(entry.type);
  const std::size_t size = type < std::size(kSizes) ? kSizes[type] : 0;
  if (n >= entry.count || (size != 1 && size != 2 && size != 4)) return std::nullopt;
  const std::uint32_t value = integer(entry.where + size * n, size);
  const bool is_signed = type == 6 || type == 8 || type == 9;
  if (!is_signed) return value;
  if (size == 4) return static_cast<std::int32_t>(value);
  return size == 2 ? std::int64_t{static_cast<std::int16_t>(value)} : std::int64_t{static_cast<std::int8_t>(value)};
}

}  // namespace everytake
