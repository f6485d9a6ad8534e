// Which card is this? Hints for finding its rolls again, never a proof: every file is looked at by itself.
#pragma once

#include <string>

#include "model.h"

namespace everytake::offload {

// One text for one card: its filesystem, and the folder in it where only a folder was given.
std::string card_key(const Volume& volume);

// What people see of a card: its label, else its folder's name.
std::string card_label(const Volume& volume, const Path& root);

// A short digest of a listing (paths, sizes, times): equal for equal listings.
std::string listing_identity(const Listing& listing);

// Whether two times are the same as far as FAT keeps them: local time in steps of 2 s, so that a change of zone moves
// it by whole quarters of an hour.
bool same_coarse_time(FileTime a, FileTime b);

// Whether two files' names, sizes and times agree as far as filesystems keep them.
bool may_be_same(const CardFile& a, const CardFile& b);

}  // namespace everytake::offload
