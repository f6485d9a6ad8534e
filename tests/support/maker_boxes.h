// Makers' own boxes as their cameras fill them: what media/maker_notes reads.
#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "base/rational.h"
#include "support/rooms.h"

namespace everytake::test {

// An entry of a TIFF directory. `value` is in the file's order, little-endian.
struct Field {
  int tag, type;
  std::uint32_t count;
  std::string value;
};
Field short_field(int tag, int value);
Field text_field(int tag, const std::string& text);
Field fraction_field(int tag, Rational value);

// Entries, then the values that don't fit into them. `at` is where it will stand in the TIFF.
std::string directory(std::uint32_t at, const std::vector<Field>& fields);

// A little-endian TIFF: the maker's name, an Exif directory of `exif` and the maker's note, which `notes` writes for
// the place it will stand at. Bare, it has no header of 8 bytes.
std::string tiff(const std::string& maker, std::vector<Field> exif,
                 const std::function<std::string(std::uint32_t at)>& notes, bool bare = false);

// Exposure time 1/50 s, sensitivity 800.
std::vector<Field> exposure();

std::string canon_box(int space, int version);                    // the content of a `uuid` box
std::string fujifilm_box(int recording_mode);                     // of `MVTG`
std::string panasonic_box(int photo_style, int still_at = 16);    // of `PANA`
std::string nikon_box(Rational rate, Rational record_rate);       // of `NCTG`; 1/50 s, lens "35mm F2"
std::string gopro_box(const std::string& colour, Rational rate);  // of `GPMF`

// The first sample of `djmd`: camera "L-1", index 800, 1/50 s, 5600 K. Fields are below 16, messages short.
struct Djmd {
  std::string schema = "dvtm_oq101.proto";
  std::optional<int> colour_mode{};
  std::vector<int> colour_at{2, 4};  // the message
  float sensor_rate = 0;
  int rate_at = 11;  // of the clip
  bool slow_motion = false;
};
std::string djmd_sample(const Djmd& what);

}  // namespace everytake::test
