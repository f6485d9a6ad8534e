#include "media/metadata/mxf.h"

#include <algorithm>
#include <string>

#include "media/container/boxes.h"
#include "media/container/klv.h"
#include "media/metadata/timed_metadata.h"

namespace everytake::media {
namespace {

constexpr std::uint64_t kMostRunIn = 65536;   // bytes that may stand before the header
constexpr int kMostItems = 10'000;            // from the header to the end of the first frame
constexpr std::size_t kMostSets = 64 * 1024;  // bytes of a frame's metadata
constexpr std::size_t kMostPack = 1024;       // of a partition pack, its key and length with it

// The first 13 bytes of a partition pack's key; the next says which partition it is, the one after in which state.
constexpr std::string_view kPartition("\x06\x0E\x2B\x34\x02\x05\x01\x01\x0D\x01\x02\x01\x01", 13);
constexpr std::string_view kRandomIndex("\x06\x0E\x2B\x34\x02\x05\x01\x01\x0D\x01\x02\x01\x01\x11\x01\x00", kKlvKey);
// In its value, after two versions of 2 bytes and a grid of 4: the places of this partition, the one before and the
// footer, then the bytes of metadata and index, each of 8.
constexpr std::size_t kThisField = 8, kFooterField = 24, kMetadataField = 32, kIndexField = 40;
// In the middle of the key of whatever a frame consists of (ST 379-2); the next byte says what that is.
constexpr std::string_view kOfFrame("\x0D\x01\x03\x01", 4);
constexpr std::size_t kOfFrameAt = 8;
constexpr char kHeader = 2, kFooter = 4;
constexpr char kOpenIncomplete = 1, kOpenComplete = 3;

bool is_partition(std::string_view pack, char kind) {
  return pack.size() >= kKlvKey && pack.starts_with(kPartition) && pack[13] == kind;
}

// The last four bytes are the length of the list of partitions, where there is one.
Result<bool> has_random_index(ReadFile& file, std::uint64_t size) {
  if (size < kKlvKey + 4) return false;
  const auto length = big_endian(TRY(read_bytes(file, size - 4, size, 4)), 0, 4);
  if (length < kKlvKey || length > size) return false;
  return TRY(read_bytes(file, size - length, size, kKlvKey)) == kRandomIndex;
}

bool is_fill(std::string_view item) {
  constexpr std::string_view kFill("\x06\x0E\x2B\x34\x01\x01\x01", 7), kRest("\x03\x01\x02\x10\x01", 5);
  return item.starts_with(kFill) && item.substr(std::min<std::size_t>(8, item.size())).starts_with(kRest);
}

// A footer is whole where what may fill the grid behind its pack, and the metadata and the index that it counts, fit
// into the file.
Result<bool> ends_with_footer(ReadFile& file, std::uint64_t size, std::uint64_t at, std::uint64_t place) {
  const auto pack = TRY(read_bytes(file, at, size, kMostPack));
  const auto value = klv_value(pack);
  if (!value || !is_partition(pack, kFooter) || big_endian(pack, value->begin + kThisField, 8) != place) return false;
  std::uint64_t room = size - at;
  const auto take = [&room](std::uint64_t bytes) { return bytes <= room && (room -= bytes, true); };
  if (!take(value->end)) return false;
  const auto item = TRY(read_bytes(file, at + value->end, size, kKlvHead));
  const auto fill = klv_value(item);
  if (is_fill(item) && !(fill && take(fill->end))) return false;
  return take(big_endian(pack, value->begin + kMetadataField, 8)) &&
         take(big_endian(pack, value->begin + kIndexField, 8));
}

// Where the header's pack begins; nullopt without one. `start` is how the file begins.
std::optional<std::size_t> find_header(std::string_view start) {
  const auto at = start.find(kPartition);
  if (at == std::string_view::npos || at > kMostRunIn || !is_partition(start.substr(at), kHeader)) return std::nullopt;
  return at;
}

bool is_of_frame(std::string_view item) {
  return item.substr(kOfFrameAt).starts_with(kOfFrame);
}

bool is_ancillary(std::string_view item) {
  constexpr char kData = 0x17, kAncillaryFrame = 2;
  return is_of_frame(item) && item[12] == kData && item[14] == kAncillaryFrame;
}

// An element of ancillary packets (ST 436-1): how many there are, then for each the line it stood on (2 bytes), in what
// (1), how its words are written (1), how many they are (2), and they themselves: a count and a size of 4 bytes each,
// then the bytes, filled up. A packet (ST 291-1): its two identifiers, how many words follow, and those. The first
// word of RDD 18's is none of a set's (MediaInfo passes it over too), and a set may go on in the next packet.
std::string sets_in_packets(std::string_view element) {
  constexpr std::size_t kPacketHead = 14, kWordsAt = 3;
  constexpr std::string_view kRdd18("\x43\x05", 2);
  const auto of_8_bits = [](std::uint64_t coding) {
    return (coding >= 4 && coding <= 6) || (coding >= 10 && coding <= 12);
  };
  std::string sets;
  std::string_view rest = element.substr(std::min<std::size_t>(2, element.size()));
  for (auto left = big_endian(element, 0, 2); left > 0 && rest.size() >= kPacketHead; --left) {
    const auto coding = big_endian(rest, 3, 1);
    const auto bytes = big_endian(rest, 6, 4) * big_endian(rest, 10, 4);
    rest.remove_prefix(kPacketHead);
    if (bytes > rest.size()) break;
    const auto packet = rest.substr(0, bytes);
    rest.remove_prefix(bytes);
    const auto words = big_endian(packet, 2, 1);
    if (!packet.starts_with(kRdd18) || words == 0) continue;
    if (!of_8_bits(coding)) return "";  // a set without its middle would be read as another
    sets += packet.substr(std::min(kWordsAt + 1, packet.size()), words - 1);
  }
  return sets;
}

}  // namespace

Result<std::optional<MxfEnd>> mxf_end(ReadFile& file, std::uint64_t size) {
  const auto start = TRY(read_bytes(file, 0, size, kMostRunIn + kMostPack));
  const auto at = find_header(start);
  const auto pack = std::string_view(start).substr(at.value_or(0));
  const auto value = klv_value(pack);
  if (!at || !value) return std::nullopt;
  if (const auto footer = big_endian(pack, value->begin + kFooterField, 8))
    return footer < size - *at && TRY(ends_with_footer(file, size, *at + footer, footer)) ? MxfEnd::whole
                                                                                          : MxfEnd::missing;
  const bool open = pack[14] == kOpenIncomplete || pack[14] == kOpenComplete;
  return open && !TRY(has_random_index(file, size)) ? MxfEnd::open : MxfEnd::whole;
}

Result<std::string> mxf_acquisition_sets(ReadFile& file, std::uint64_t size) {
  const auto header = find_header(TRY(read_bytes(file, 0, size, kMostRunIn + kMostPack)));
  std::string sets, first;  // `first` is the key of what each frame begins with
  std::size_t looked_at = 0;
  std::uint64_t at = header.value_or(size);
  for (int items = 0; items < kMostItems && at < size; ++items) {
    const auto head = TRY(read_bytes(file, at, size, kKlvHead));
    const auto value = klv_value(head);
    if (!value || value->end > size - at || (!first.empty() && head.starts_with(first))) break;
    if (first.empty() && is_of_frame(head)) first = head.substr(0, kKlvKey);
    const bool is_set = is_acquisition_set(head);
    if (is_set || is_ancillary(head)) {
      const auto bytes = TRY(read_bytes(file, is_set ? at : at + value->begin, at + value->end, kMostSets));
      sets += is_set ? bytes : sets_in_packets(bytes);
      looked_at += bytes.size();
    }
    if (looked_at > kMostSets) break;
    at += value->end;
  }
  return sets;
}

}  // namespace everytake::media
