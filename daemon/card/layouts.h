// The ways cameras lay out a card, as a table: which folders hold what.
#pragma once

#include <span>
#include <string_view>

#include "card/recognise.h"

namespace everytake::card {

// A folder of a card's tree, and what the files in it are to a recording.
struct LayoutFolder {
  std::string_view folder;      // below the tree's own; "" for every folder in it
  std::string_view extensions;  // each between blanks: " mp4 mov "
  FileRole role;
};

struct Layout {
  const char* shown;  // for people
  // Whether a recording's files lie in several folders, so that their names alone tell which go together; else only
  // files of one folder do.
  bool scattered;
  // Whether sound and later parts have the recording's name and two digits more.
  bool numbered;
  std::span<const LayoutFolder> folders;  // files elsewhere in the tree belong to the card
};

const Layout& layout_of(Structure structure);
const Layout& loose_layout();    // of files in no card's tree
const Layout& nothing_layout();  // of a tree without recordings

bool lists(std::string_view extensions, std::string_view extension);
bool is_movie(std::string_view extension);          // a video, by its extension
bool is_raw(std::string_view extension);            // one that cameras write a second, smaller file to
bool is_raw_or_cinema(std::string_view extension);  // one that no computer puts at the top of a card

}  // namespace everytake::card
