#include "support/media_boxes.h"
#include "support/rooms.h"

#include <algorithm>
#include <stdexcept>

namespace everytake::test {
namespace {

std::uint64_t number(std::string_view bytes, std::size_t at, int length) {
  std::uint64_t value = 0;
  for (int i = 0; i < length; ++i) value = value << 8 | static_cast<unsigned char>(bytes[at + i]);
  return value;
}

struct Place {
  std::size_t begin, end;
};

// The last box of that type in [begin, end).
Place find(std::string_view bytes, Place within, std::string_view type) {
  Place found{0, 0};
  for (std::size_t at = within.begin; at + 8 <= within.end;) {
    const auto size = number(bytes, at, 4);
    if (size < 8 || size > within.end - at) break;
    if (bytes.substr(at + 4, 4) == type) found = {at, at + size};
    at += size;
  }
  if (found.end == 0) throw std::runtime_error("no box " + std::string(type));
  return found;
}

}  // namespace

std::string big(std::uint64_t value, int bytes) {
  std::string out;
  for (int i = bytes - 1; i >= 0; --i) out += static_cast<char>(value >> 8 * i);
  return out;
}

std::string little(std::uint64_t value, int bytes) {
  std::string out = big(value, bytes);
  std::reverse(out.begin(), out.end());
  return out;
}

std::string box(std::string_view type, std::string_view content) {
  return big(content.size() + 8, 4) + std::string(type) + std::string(content);
}

std::string with_box(std::string movie, const std::vector<std::string_view>& path, std::string_view child) {
  std::vector<Place> opened;
  Place within{0, movie.size()};
  for (const auto type : path) {
    const Place place = find(movie, within, type);
    opened.push_back(place);
    std::size_t skip = 8;
    if (type == "stsd") skip += 8;
    if (type == "avc1") skip += 78;
    within = {place.begin + skip, place.end};
  }
  for (const auto& place : opened) movie.replace(place.begin, 4, big(number(movie, place.begin, 4) + child.size(), 4));
  return movie.insert(within.end, child);
}

std::string with_timed_metadata(const std::string& movie, const std::string& sample, std::string_view code) {
  const auto track = [&](std::uint64_t offset) {
    const std::string zeros(64, '\0');
    const std::string matrix =
        big(0x10000, 4) + zeros.substr(0, 12) + big(0x10000, 4) + zeros.substr(0, 12) + big(0x40000000, 4);
    const std::string tkhd = big(7, 4) + zeros.substr(0, 8) + big(9, 4) + zeros.substr(0, 4) + big(1000, 4) +
                             zeros.substr(0, 16) + matrix + zeros.substr(0, 8);
    const std::string mdhd = zeros.substr(0, 12) + big(24000, 4) + big(1001, 4) + zeros.substr(0, 4);
    const std::string hdlr = zeros.substr(0, 8) + "meta" + zeros.substr(0, 12) + std::string("Timed Metadata\0", 15);
    const std::string entry = box(code, zeros.substr(0, 6) + big(1, 2));
    const std::string table = box("stsd", big(0, 4) + big(1, 4) + entry) +
                              box("stts", big(0, 4) + big(1, 4) + big(1, 4) + big(1001, 4)) +
                              box("stsc", big(0, 4) + big(1, 4) + big(1, 4) + big(1, 4) + big(1, 4)) +
                              box("stsz", big(0, 4) + big(0, 4) + big(1, 4) + big(sample.size(), 4)) +
                              box("stco", big(0, 4) + big(1, 4) + big(offset, 4));
    const std::string self = box("dinf", box("dref", big(0, 4) + big(1, 4) + box("url ", big(1, 4))));
    return box("trak",
               box("tkhd", tkhd) + box("mdia", box("mdhd", mdhd) + box("hdlr", hdlr) +
                                                   box("minf", box("nmhd", big(0, 4)) + self + box("stbl", table))));
  };
  const auto offset = movie.size() + track(0).size() + 8;
  return with_box(movie, {"moov"}, track(offset)) + box("mdat", sample);
}

std::string camera_set(const std::vector<Item>& items, int more) {
  std::string set;
  for (const auto& item : items) set += big(item.tag, 2) + big(item.value.size(), 2) + item.value;
  const auto length =
      more == 0 ? big(set.size(), 1) : big(0x80 + static_cast<unsigned>(more), 1) + big(set.size(), more);
  return std::string("\x06\x0E\x2B\x34\x02\x53\x01\x01\x0C\x02\x01\x01\x02\x01\x00\x00", 16) + length + set;
}

std::string timed_sample(const std::vector<Item>& items) {
  return big(0x1C, 2) + std::string(0x1A, '\0') + camera_set(items);
}

std::string ancillary(std::string_view identifiers, std::string_view words) {
  constexpr std::size_t kMost = 254;
  constexpr std::uint64_t kVerticalFrame = 1, kLumaOf8Bits = 4;
  std::string packets;
  std::uint64_t count = 0;
  for (; !words.empty(); ++count) {
    const auto some = words.substr(0, kMost);
    words.remove_prefix(some.size());
    std::string packet = std::string(identifiers) + big(some.size() + 1, 1) + big(count + 1, 1) + std::string(some);
    const auto samples = packet.size();
    packet.resize((samples + 3) / 4 * 4);
    packets += big(9, 2) + big(kVerticalFrame, 1) + big(kLumaOf8Bits, 1) + big(samples, 2) + big(packet.size(), 4) +
               big(1, 4) + packet;
  }
  return big(count, 2) + packets;
}

std::string label(std::uint32_t end) {
  return std::string("\x06\x0E\x2B\x34\x04\x01\x01\x06\x0E\x06\x04\x01", 12) + big(end, 4);
}

}  // namespace everytake::test
