// Builds and alters the boxes of MP4 files (ISO/IEC 14496-12) and small TIFF directories by hand.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

namespace everytake::test {

std::string big(std::uint64_t value, int bytes);
std::string little(std::uint64_t value, int bytes);
std::string box(std::string_view type, std::string_view content);

// `movie` with `child` put at the end of the box that `path` leads to ({"moov", "udta"}); {} is the file itself. The
// index must be the file's last box, as make_movie() leaves it. Throws where the path leads nowhere.
std::string with_box(std::string movie, const std::vector<std::string_view>& path, std::string_view child);

// `movie` with a stream of timed metadata, four-character code `rtmd`, that has this one sample.
std::string with_timed_metadata(const std::string& movie, const std::string& sample);

struct Item {
  std::uint16_t tag;
  std::string value;
};
// Header, one set of camera data, its items.
std::string timed_sample(const std::vector<Item>& items);
// The universal label with these last four bytes.
std::string label(std::uint32_t end);

// A little-endian TIFF whose Exif directory holds `notes` as the maker's note; they begin at byte kNotesAt. Bare, it
// has no header of 8 bytes, so all is 8 bytes nearer.
inline constexpr std::uint32_t kNotesAt = 44;
std::string tiff_with_notes(const std::string& notes, bool bare = false);
// A directory with one entry. `value` is put after it, at `at` + 18 of the TIFF, where it is longer than 4 bytes.
std::string directory(std::uint32_t at, int tag, int type, std::uint32_t count, const std::string& value);

}  // namespace everytake::test
