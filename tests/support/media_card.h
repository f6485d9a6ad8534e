// A card as it comes out of the invented camera "L-1" on the shoot of "Saltmarsh Radio": real recordings, small ones.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "base/rational.h"
#include "os/fs.h"
#include "support/rooms.h"

namespace everytake::test {

struct CardClip {
  int number = 1;
  Rational rate{24000, 1001};
  std::optional<Rational> capture{};  // where it is not the file's
  double seconds = 3;                 // as the file plays
  enum class Hears { song, room, silence, nothing } hears = Hears::room;
  double song_start = 0;  // s
  std::string gamma = "s-log3-cine";
  std::string gamut = "s-gamut3-cine";
  bool ten_bit = true;
  bool drop_frame = false;  // and has a timecode track
  bool cut = false;         // its index stands first and its last 40 % are missing
  bool proxy = false;

  std::string name() const;  // "C0001"
  int frames() const;
};

// What make_card() puts on a card: 12 clips. Performances C0001 (from 2 s before the song), C0002, C0003, C0006
// (29.97 drop-frame), C0009 (cut off) and C0010; b-roll C0004, C0007 (other gamma) and C0011 (silent sound); slow
// motion C0005 and C0012 (5 times) and C0008 (119.88 in real time).
std::vector<CardClip> card_clips();
// The clip that is shot after the card was offloaded: C0013.
CardClip one_more();

// Writes PRIVATE/M4ROOT/… below `root`. Bytes and file times are the same each time.
void make_card(const Path& root, const std::vector<CardClip>& clips);
void add_clip(const Path& root, const CardClip& clip);  // to the card that make_card(root, card_clips()) made
std::string sidecar_xml(const CardClip& clip);
void write_song(const Path& file);  // "Saltmarsh Radio" as a 16-bit WAV

}  // namespace everytake::test
