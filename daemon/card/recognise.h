// What kind of card this is, and which recordings are on it. Decided from names alone, without regard to case;
// contents come later.
#pragma once

#include <vector>

#include "model.h"

namespace everytake::card {

// A way cameras lay out a card. A card may follow several.
enum class Structure {
  m4root,          // M4ROOT or PRIVATE/M4ROOT: CLIP, SUB, THMBNL
  xdroot,          // XDROOT or PRIVATE/XDROOT, or Clip+Edit+Sub+General at the top
  avchd,           // BDMV with its index, in AVCHD or PRIVATE/AVCHD
  contents_clips,  // CONTENTS/CLIPS001
  contents_split,  // CONTENTS/CLIP + VIDEO + AUDIO: sound in files of its own
  dcim,            // DCF (JEITA CP-3461): DCIM with something in it, be it stills
  at_the_root,     // raw and cinema files at the top
};
const char* to_string(Structure structure);  // for people: "M4ROOT folders"

// Those that begin at the card's top, where cameras begin them, in the order above. Empty for what is no camera's card:
// a disk with copies of cards in some folder is none.
std::vector<Structure> structures_of(const Listing& listing);

// The recordings, sorted by the path of their first video, each with the files that go with it. A card's tree may lie
// at any depth: any folder works as a card. Inside it only its clip folders hold recordings; everywhere else every file
// with a video's extension is one, but for what lies in a folder of proxies beside its recording. Of no recording are
// files that systems leave behind ("._…", "System Volume Information"). An empty video is a recording all the same.
// Several videos are one recording only where the structure itself says so.
std::vector<ClipFiles> clips_of(const Listing& listing);

}  // namespace everytake::card
