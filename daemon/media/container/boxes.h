// The boxes of an ISO base media file (ISO/IEC 14496-12), read a header at a time. Whatever the bytes say, nothing is
// read outside the file and nothing grows without bound.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "base/rational.h"
#include "os/fs.h"

namespace everytake::media {

struct Box {
  std::string type;           // four bytes
  std::uint64_t begin = 0;    // of its header
  std::uint64_t content = 0;  // after its header
  std::uint64_t end = 0;      // as it claims: past the file's end where that is cut
};

// The boxes that follow each other in [begin, end) of the file, until a header can't be one. A box that runs past
// `end` is the last. At most 20000.
Result<std::vector<Box>> read_boxes(ReadFile& file, std::uint64_t begin, std::uint64_t end);

// The boxes inside `box`. What stands before them in some types is skipped: the version of `meta`, the counts of
// `stsd`, and the fixed fields of a video sample entry (`entry`; ISO/IEC 14496-12).
Result<std::vector<Box>> read_children(ReadFile& file, const Box& box, bool entry = false);

// Every box that this path of types leads to from the file's top: {"moov", "trak", "mdia"}. Paths are at most 10 long.
Result<std::vector<Box>> find_boxes(ReadFile& file, std::span<const std::string_view> path);

// Up to `most` bytes of [begin, end); fewer where the file ends before.
Result<std::string> read_bytes(ReadFile& file, std::uint64_t begin, std::uint64_t end, std::size_t most);

// Big-endian numbers; 0 where `bytes` is too short.
std::uint64_t big_endian(std::string_view bytes, std::size_t at, std::size_t length);
// The same of eight bytes that are a fraction: numerator, denominator. nullopt for what is no positive_fraction().
std::optional<Rational> big_endian_fraction(std::string_view bytes);

}  // namespace everytake::media
