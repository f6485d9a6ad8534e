// Timecode by SMPTE ST 12-1: labels, the frames they count, and the four time bytes of linear timecode (LTC).
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "base/rational.h"

namespace everytake::media {

// A label. `frames` is below the counting base, which is the frame rate rounded up to a whole number.
struct Timecode {
  int hours = 0, minutes = 0, seconds = 0, frames = 0;
  bool drop = false;  // drop-frame: labels are left out so that they keep to the clock
  bool operator==(const Timecode&) const = default;
};

// How many frames a second the labels count: 24 for 24000/1001.
int counting_base(Rational rate);

// "01:00:00:00"; drop-frame with ';' or ',' or '.' before the frames. nullopt for a label that does not exist at
// `rate`: a frame past the base, a dropped label, drop-frame where the rate has none.
std::optional<Timecode> parse_timecode(std::string_view text, Rational rate);
std::string to_string(const Timecode& label, Rational rate);  // frames get 3 digits above 100 a second

// Frames since midnight, and back. A day is a whole number of frames; counts outside it wrap.
std::int64_t frame_count(const Timecode& label, Rational rate);
Timecode label_of(std::int64_t frame, Rational rate, bool drop);
std::int64_t frames_a_day(Rational rate, bool drop);

// LTC at `base` frames a second (24, 25, 30) as cameras write it for files of higher rates too. There, one bit tells
// the second half of a frame.
struct LtcTime {
  Timecode label;
  bool second_half = false;
  bool operator==(const LtcTime&) const = default;
};
// Eight hexadecimal digits: the time bytes in the order frames, seconds, minutes, hours, flags included. nullopt for
// what is no time.
std::optional<LtcTime> parse_ltc(std::string_view digits, int base);
std::uint32_t ltc_word(const LtcTime& time, int base);
// The label of the file's frame: `rate` may be a multiple of the base.
Timecode at_file_rate(const LtcTime& time, int base, Rational rate);

}  // namespace everytake::media
