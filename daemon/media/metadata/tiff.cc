#include "media/metadata/tiff.h"

#include <algorithm>
#include <iterator>

namespace everytake::media {
namespace {

constexpr std::uint32_t kMostEntries = 1000;

}  // namespace

std::size_t Tiff::size_of_type(int type) {
  constexpr std::size_t kSizes[] = {0, 1, 1, 2, 4, 8, 1, 1, 2, 4, 8, 4, 8};
  return type >= 0 && type < static_cast<int>(std::size(kSizes)) ? kSizes[type] : 0;
}

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
    const std::size_t length = size_of_type(entry.type) * entry.count;
    const std::size_t where = length <= 4 ? at + 8 : integer(at + 8, 4);
    if (length == 0 || where > bytes_.size() || length > bytes_.size() - where) return std::nullopt;
    entry.value = bytes_.substr(where, length);
    entry.where = static_cast<std::uint32_t>(where);
    return entry;
  }
  return std::nullopt;
}

std::optional<std::int64_t> Tiff::number(const Entry& entry, std::uint32_t n) const {
  const std::size_t size = size_of_type(entry.type);
  if (n >= entry.count || (size != 1 && size != 2 && size != 4)) return std::nullopt;
  const std::uint32_t value = integer(entry.where + size * n, size);
  const bool is_signed = entry.type == 6 || entry.type == 8 || entry.type == 9;
  if (!is_signed) return value;
  if (size == 4) return static_cast<std::int32_t>(value);
  return size == 2 ? std::int64_t{static_cast<std::int16_t>(value)} : std::int64_t{static_cast<std::int8_t>(value)};
}

std::optional<Rational> Tiff::fraction(const Entry& entry) const {
  constexpr int kRational = 5;
  if (entry.type != kRational || entry.count < 1) return std::nullopt;
  return positive_fraction(integer(entry.where, 4), integer(std::size_t{entry.where} + 4, 4));
}

}  // namespace everytake::media
