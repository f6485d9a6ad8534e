// Names on a card as they are compared: without regard to the case of ASCII letters, as FAT and exFAT do.
#pragma once

#include <string>
#include <string_view>

#include "model.h"

namespace everytake::card {

// "clip" of "private/m4root/clip", and what is before it. "" has neither.
std::string_view leaf_of(std::string_view folder);
std::string_view parent_of(std::string_view folder);

// A file, its name taken apart, all in lower case.
struct Name {
  const CardFile* file = nullptr;
  std::string folder;     // "private/m4root/clip"; "" for the top
  std::string stem;       // "c0001"
  std::string extension;  // "mp4"
};
Name name_of(const CardFile& file);

// Whether it, or a folder it lies in, is what computers leave on media they were given: "._C0001.MP4", ".Trashes".
bool is_left_by_a_system(const Name& name);

// Whether the last `count` characters are digits and something stands before them.
bool ends_in_digits(std::string_view text, std::size_t count);

}  // namespace everytake::card
