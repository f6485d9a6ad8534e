#include "base/json.h"

#include <cstdint>
#include <optional>

#include "base/text.h"

namespace everytake {
namespace {

// The library follows nesting by calling itself, and looks a key up by going through all before it: bytes made for that
// would end this process, or hold it for minutes. So they are gone through first, which takes them for no CBOR unless
// they are such as to_cbor() writes (RFC 8949, section 3): every length is said beforehand, and there are no tags.
class CborCheck {
 public:
  explicit CborCheck(std::string_view cbor) : rest_(cbor) {}
  bool is_one_item() { return take_item(kDeepest) && rest_.empty(); }

 private:
  static constexpr int kDeepest = 16;             // arrays and maps inside each other
  static constexpr std::uint64_t kMostKeys = 64;  // more than any struct has

  enum Major { whole, negative, bytes, text, array, map, tag, simple };

  bool take_item(int depth) {
    if (rest_.empty()) return false;
    const auto first = static_cast<unsigned char>(rest_.front());
    rest_.remove_prefix(1);
    const auto count = take_count(first & 0x1FU);
    if (!count) return false;
    switch (first >> 5) {
      case bytes:
      case text:
        return skip(*count);
      case array:
        return take_items(*count, depth);
      case map:
        return *count <= kMostKeys && take_items(2 * *count, depth);
      case tag:
        return false;
      default:
        return true;
    }
  }

  // The number that the low bits of an item's first byte stand for.
  std::optional<std::uint64_t> take_count(unsigned bits) {
    if (bits < 24) return bits;
    const std::size_t size = std::size_t{1} << (bits - 24);
    if (bits > 27 || size > rest_.size()) return std::nullopt;
    std::uint64_t count = 0;
    for (const char byte : rest_.substr(0, size)) count = count << 8 | static_cast<unsigned char>(byte);
    rest_.remove_prefix(size);
    return count;
  }

  bool take_items(std::uint64_t count, int depth) {
    if (depth == 0) return false;
    for (; count > 0; --count)
      if (!take_item(depth - 1)) return false;
    return true;
  }

  bool skip(std::uint64_t count) {
    if (count > rest_.size()) return false;
    rest_.remove_prefix(count);
    return true;
  }

  std::string_view rest_;
};

}  // namespace

std::string dump(const Json& json) {
  return escaped_json(json.dump(-1, ' ', false, Json::error_handler_t::replace));
}

std::string to_cbor(const Json& json) {
  std::string bytes;
  Json::to_cbor(json, bytes);
  return bytes;
}

Json from_cbor(std::string_view bytes) {
  if (!CborCheck(bytes).is_one_item()) return Json(Json::value_t::discarded);
  return Json::from_cbor(bytes, true, false);
}

void put_name(Json& object, const std::string& key, const std::string& name) {
  object[key] = name;
  if (!is_utf8(name)) object[key + "_base64"] = base64(name);
}

}  // namespace everytake
