// What kind of card this is, and which recordings are on it. Decided from names alone; contents come later.
#pragma once

#include <string>
#include <vector>

#include "model.h"

namespace everytake {

// A way cameras lay out a card. A card may follow several.
enum class Structure {
  m4root,          // M4ROOT or PRIVATE/M4ROOT: CLIP, SUB, THMBNL
  xdroot,          // XDROOT or PRIVATE/XDROOT, or Clip+Edit+Sub+General at the top
  avchd,           // BDMV with its index, in AVCHD or PRIVATE/AVCHD
  contents_clips,  // CONTENTS/CLIPS001
  contents_split,  // CONTENTS/CLIP + VIDEO + AUDIO: sound in files of its own
  dcim,            // DCF (JEITA CP-3461): DCIM with movies
  at_the_root,     // raw and cinema files at the top
};
const char* to_string(Structure structure);  // for people: "M4ROOT folders"

// In the order above; empty for a folder that is no camera's card.
std::vector<Structure> structures_of(const Listing& listing);

// The recordings, sorted by the path of their video, each with the files that go with it. On a card of a known
// structure: those of its clip folders. Elsewhere: every file with a media extension. Never a proxy, a thumbnail or a
// file that systems leave behind ("._…", "System Volume Information").
std::vector<ClipFiles> clips_of(const Listing& listing);

}  // namespace everytake
