// Builds and alters the boxes of MP4 files (ISO/IEC 14496-12) by hand.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>
#include "support/rooms.h"

namespace everytake::test {

std::string big(std::uint64_t value, int bytes);
std::string little(std::uint64_t value, int bytes);
std::string box(std::string_view type, std::string_view content);

// `movie` with `child` put at the end of the box that `path` leads to ({"moov", "udta"}); {} is the file itself. The
// index must be the file's last box, as make_movie() leaves it. Throws where the path leads nowhere.
std::string with_box(std::string movie, const std::vector<std::string_view>& path, std::string_view child);

// `movie` with a stream of timed metadata, four-character code `code`, that has this one sample.
std::string with_timed_metadata(const std::string& movie, const std::string& sample, std::string_view code = "rtmd");

struct Item {
  std::uint16_t tag;
  std::string value;
};
// A set of camera data (SMPTE RDD 18) with these items. Its length is written in `more` bytes; 0 is the short form.
std::string camera_set(const std::vector<Item>& items, int more = 3);
// A header, then such a set.
std::string timed_sample(const std::vector<Item>& items);
// These words as ancillary packets of a line, 8 bits a word: an element of SMPTE ST 436-1. A packet takes 254.
std::string ancillary(std::string_view identifiers, std::string_view words);
// The universal label with these last four bytes.
std::string label(std::uint32_t end);

}  // namespace everytake::test
