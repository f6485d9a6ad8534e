#include "media/container/klv.h"

#include "media/container/boxes.h"

namespace everytake::media {

std::optional<KlvValue> klv_value(std::string_view bytes) {
  constexpr std::string_view kLabelStart("\x06\x0E\x2B\x34", 4);
  if (!bytes.starts_with(kLabelStart) || bytes.size() <= kKlvKey) return std::nullopt;
  // The length in BER: short, or a byte that says how many follow.
  const auto first = big_endian(bytes, kKlvKey, 1);
  if (first == 0x80) return std::nullopt;  // a length that is not said
  const std::size_t more = first < 0x80 ? 0 : first - 0x80;
  const std::uint64_t begin = kKlvKey + 1 + more;
  if (begin > kKlvHead || begin > bytes.size()) return std::nullopt;
  const auto end = begin + (more == 0 ? first : big_endian(bytes, kKlvKey + 1, more));
  return end < begin ? std::nullopt : std::optional(KlvValue{begin, end});
}

}  // namespace everytake::media
