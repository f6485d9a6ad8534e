#include "media/container/boxes.h"

#include <algorithm>

namespace everytake::media {
namespace {

constexpr std::size_t kMostBoxes = 20'000;
constexpr std::size_t kMostFound = 1000;
constexpr std::size_t kDeepest = 10;
constexpr std::uint64_t kPictureFields = 78;  // ISO/IEC 14496-12, VisualSampleEntry

bool printable(std::string_view type) {
  return std::all_of(type.begin(), type.end(), [](unsigned char c) { return (c >= 0x20 && c < 0x7F) || c == 0xA9; });
}

}  // namespace

std::uint64_t big_endian(std::string_view bytes, std::size_t at, std::size_t length) {
  if (at > bytes.size() || length > bytes.size() - at) return 0;
  std::uint64_t value = 0;
  for (const char c : bytes.substr(at, length)) value = value << 8 | static_cast<unsigned char>(c);
  return value;
}

Result<std::string> read_bytes(ReadFile& file, std::uint64_t begin, std::uint64_t end, std::size_t most) {
  std::string bytes(static_cast<std::size_t>(std::min<std::uint64_t>(end > begin ? end - begin : 0, most)), '\0');
  if (bytes.empty()) return bytes;
  const auto got = TRY(file.read(std::as_writable_bytes(std::span(bytes)), begin));
  bytes.resize(got);
  return bytes;
}

Result<std::vector<Box>> read_boxes(ReadFile& file, std::uint64_t begin, std::uint64_t end) {
  std::vector<Box> boxes;
  for (std::uint64_t at = begin; at < end && end - at >= 8 && boxes.size() < kMostBoxes;) {
    const std::string header = TRY(read_bytes(file, at, end, 16));
    Box box{header.substr(std::min<std::size_t>(4, header.size()), 4), at, at + 8, 0};
    std::uint64_t size = big_endian(header, 0, 4);
    if (size == 1) {
      size = big_endian(header, 8, 8);
      box.content = at + 16;
    } else if (size == 0) {
      size = end - at;  // to the end of what it is in
    }
    if (header.size() < 8 || !printable(box.type) || size < box.content - at || size > UINT64_MAX - at) break;
    box.end = at + size;
    at = box.end;
    boxes.push_back(std::move(box));
  }
  return boxes;
}

Result<std::vector<Box>> read_children(ReadFile& file, const Box& box, bool entry) {
  std::uint64_t begin = box.content;
  if (entry) begin += kPictureFields;
  if (box.type == "stsd") begin += 8;
  if (box.type == "meta") {  // QuickTime's has no version before its first box
    const auto start = TRY(read_bytes(file, box.content, box.end, 8));
    if (start.substr(std::min<std::size_t>(4, start.size())) != "hdlr") begin += 4;
  }
  return read_boxes(file, begin, box.end);
}

Result<std::vector<Box>> find_boxes(ReadFile& file, std::span<const std::string_view> path) {
  const auto size = TRY(file.stat()).size;
  std::vector<Box> found{{"", 0, 0, size}};
  for (const auto type : path.first(std::min(path.size(), kDeepest))) {
    std::vector<Box> next;
    for (const auto& parent : found) {
      for (auto& child : TRY(read_children(file, parent))) {
        if (child.type != type) continue;
        child.end = std::min(child.end, parent.end);  // so that no two boxes hold the same bytes
        next.push_back(std::move(child));
        if (next.size() >= kMostFound) break;
      }
      if (next.size() >= kMostFound) break;
    }
    found = std::move(next);
  }
  return found;
}

std::optional<Rational> big_endian_fraction(std::string_view bytes) {
  if (bytes.size() != 8) return std::nullopt;
  return positive_fraction(static_cast<std::int64_t>(big_endian(bytes, 0, 4)),
                           static_cast<std::int64_t>(big_endian(bytes, 4, 4)));
}

}  // namespace everytake::media
