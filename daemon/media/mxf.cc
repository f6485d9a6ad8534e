#include "media/mxf.h"

#include <algorithm>
#include <string>

#include "media/boxes.h"

namespace everytake {
namespace {

constexpr std::size_t kKey = 16;             // bytes of a universal label
constexpr std::uint64_t kMostRunIn = 65536;  // bytes that may stand before the header
constexpr std::size_t kMostPack = 1024;      // of a partition pack, its key and length with it

// The first 13 bytes of a partition pack's key; the next says which partition it is, the one after in which state.
constexpr std::string_view kPartition("\x06\x0E\x2B\x34\x02\x05\x01\x01\x0D\x01\x02\x01\x01", 13);
constexpr std::string_view kRandomIndex("\x06\x0E\x2B\x34\x02\x05\x01\x01\x0D\x01\x02\x01\x01\x11\x01\x00", kKey);
// In its value, after two versions of 2 bytes and a grid of 4: the places of this partition, the one before and the
// footer, then the bytes of metadata and index, each of 8.
constexpr std::size_t kThisField = 8, kFooterField = 24, kMetadataField = 32, kIndexField = 40;
constexpr char kHeader = 2, kFooter = 4;
constexpr char kOpenIncomplete = 1, kOpenComplete = 3;

bool is_partition(std::string_view pack, char kind) {
  return pack.size() >= kKey && pack.starts_with(kPartition) && pack[13] == kind;
}

// Where the value of a pack lies in it: past its key and its length in BER, which is short, or a byte that says how
// many follow.
struct Extent {
  std::uint64_t begin = 0, end = 0;
};
Extent value_of(std::string_view pack) {
  const auto first = big_endian(pack, kKey, 1);
  const std::size_t more = first < 0x80 ? 0 : std::min<std::size_t>(first - 0x80, 8);
  const std::uint64_t begin = kKey + 1 + more;
  return {begin, begin + (more == 0 ? first : big_endian(pack, kKey + 1, more))};
}

// The last four bytes are the length of the list of partitions, where there is one.
Result<bool> has_random_index(ReadFile& file, std::uint64_t size) {
  if (size < kKey + 4) return false;
  const auto length = big_endian(TRY(read_bytes(file, size - 4, size, 4)), 0, 4);
  if (length < kKey || length > size) return false;
  return TRY(read_bytes(file, size - length, size, kKey)) == kRandomIndex;
}

bool is_fill(std::string_view item) {
  constexpr std::string_view kFill("\x06\x0E\x2B\x34\x01\x01\x01", 7), kRest("\x03\x01\x02\x10\x01", 5);
  return item.starts_with(kFill) && item.substr(std::min<std::size_t>(8, item.size())).starts_with(kRest);
}

// A footer is whole where what may fill the grid behind its pack, and the metadata and the index that it counts, fit
// into the file.
Result<bool> ends_with_footer(ReadFile& file, std::uint64_t size, std::uint64_t at, std::uint64_t place) {
  const auto pack = TRY(read_bytes(file, at, size, kMostPack));
  const auto value = value_of(pack);
  if (!is_partition(pack, kFooter) || big_endian(pack, value.begin + kThisField, 8) != place) return false;
  std::uint64_t room = size - at;
  const auto take = [&room](std::uint64_t bytes) { return bytes <= room && (room -= bytes, true); };
  if (value.end < value.begin || !take(value.end)) return false;
  const auto item = TRY(read_bytes(file, at + value.end, size, kKey + 9));
  const auto fill = value_of(item);
  if (is_fill(item) && (fill.end < fill.begin || !take(fill.end))) return false;
  return take(big_endian(pack, value.begin + kMetadataField, 8)) &&
         take(big_endian(pack, value.begin + kIndexField, 8));
}

}  // namespace

Result<std::optional<MxfEnd>> mxf_end(ReadFile& file, std::uint64_t size) {
  const auto start = TRY(read_bytes(file, 0, size, kMostRunIn + kMostPack));
  const auto at = start.find(kPartition);
  if (at == std::string::npos || at > kMostRunIn) return std::nullopt;
  const auto pack = std::string_view(start).substr(at);
  if (!is_partition(pack, kHeader)) return std::nullopt;
  if (const auto footer = big_endian(pack, value_of(pack).begin + kFooterField, 8))
    return footer < size - at && TRY(ends_with_footer(file, size, at + footer, footer)) ? MxfEnd::whole
                                                                                        : MxfEnd::missing;
  const bool open = pack[14] == kOpenIncomplete || pack[14] == kOpenComplete;
  return open && !TRY(has_random_index(file, size)) ? MxfEnd::open : MxfEnd::whole;
}

}  // namespace everytake
