// Text for people: bytes made safe to print, sizes, times.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "base/clock.h"

namespace everytake {

// `bytes` as UTF-8 that can go to a terminal, a log or a page: control characters, bidirectional controls and bytes
// that are no UTF-8 become \xNN (one for each byte).
std::string shown(std::string_view bytes);
// The same characters as \uXXXX (UTF-16, RFC 8259, section 7), for JSON written in one line of UTF-8: it stands for
// the same values.
std::string escaped_json(std::string_view json);

// "Ada, Jonas"; empty where there are none.
std::string joined(const std::vector<std::string>& words);
// Names as a sentence holds them: "\"desk\", \"shuttle\" and \"archive\"", made fit to be shown.
std::string quoted(const std::vector<std::string>& names);

// ASCII letters alone, as FAT and exFAT compare names.
std::string lower_case(std::string_view text);

// Equal for names that differ only in case, or in how an accent is written: Unicode full case folding and normal form C
// (Unicode Standard, sections 3.11 and 3.13). Bytes that are no UTF-8 stay, and ASCII letters become small.
std::string folded(std::string_view name);

// %XX for every byte but letters, digits, "-._~" and "/" (RFC 3986, sections 2.1 and 2.3).
std::string percent_encoded(std::string_view bytes);
std::optional<std::string> percent_decoded(
    std::string_view text);  // nullopt where percent_encoded() wrote no such text

bool is_utf8(std::string_view bytes);
std::string base64(std::string_view bytes);  // RFC 4648 section 4
std::string lower_hex(std::string_view bytes);

// Columns a terminal needs for `text` (UTF-8).
int display_width(std::string_view text);
// `text` padded with spaces, or cut with "…", to exactly `columns`.
std::string fit(std::string_view text, int columns);

std::string counted(std::size_t count, std::string_view noun);  // "1 clip", "3 clips"

std::string bytes_text(std::uint64_t bytes);  // "1.23 GB", 1 GB = 10^9 bytes
std::string song_time(Micros t);              // "1:42.500", "-0:01.250", "1:02:03.000"
std::string length_text(Micros t);            // for people: "12.5 s", "3 min 05 s", "2 h 07 min"
std::string iso8601(Instant t);               // "2026-11-25T14:32:05Z", for programs
std::string local_time(Instant t);            // "2026-11-25 14:32:05" in the zone that is set here, for people

// "m:ss[.fff]", "h:mm:ss[.fff]" or seconds. nullopt for anything else, or past 24 hours.
std::optional<Micros> parse_song_time(std::string_view text);

// ISO 8601 date and time as cameras write it, zone required: "2026-01-01T10:00:00+01:00", "…Z". nullopt otherwise.
std::optional<Instant> parse_iso8601(std::string_view text);

// How many single-character edits lead from one to the other (Levenshtein), for "did you mean".
std::size_t edit_distance(std::string_view a, std::string_view b);
// The candidate fewest edits away; nullopt where none is near enough to be meant: two edits in a word of four letters
// or more (swapped letters are two), more in a long one.
std::optional<std::string> nearest(std::string_view word, std::span<const std::string> candidates);

}  // namespace everytake
