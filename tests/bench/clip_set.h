// The clips that placing is measured with: a fixed, seeded set. Songs for tuning and songs for judging share nothing.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "support/capture.h"
#include "support/made_song.h"
#include "support/rooms.h"

namespace everytake::bench {

struct Song {
  std::string name;
  test::Track sound;
  std::optional<test::MadeSong> made;  // nullopt for recorded music
  std::size_t sibling = 0;             // another song made from the same kit; itself where there is none
  double seconds() const { return static_cast<double>(sound.size()) / test::kTrackRate; }
};

enum class Class { over_60, over_15, over_6, under_6, pitch_moved, pitch_kept, negative };
inline constexpr Class kClasses[] = {Class::over_60,     Class::over_15,    Class::over_6,  Class::under_6,
                                     Class::pitch_moved, Class::pitch_kept, Class::negative};
const char* to_string(Class c);

struct Case {
  std::string name;  // of its file
  Class what = Class::negative;
  std::size_t song = 0;  // that it is looked for in
  enum class Source { song, other_song, noise, silence } source = Source::song;
  std::size_t heard = 0;                    // the song that plays
  test::Capture how;                        // where it lies, for Source::song
  bool hall = false;                        // in the recorded hall instead of a made-up room
  double matched_from = 0, matched_to = 0;  // clip seconds in which the song plays
  std::vector<double> also;                 // other starts at which the song is the same; by note_repeats()
};

// Songs synthesised from four kits, two of each, and the seed of the clips cut from them. Different kits share nothing.
struct MadeSet {
  unsigned first_kit = 0, seed = 0;
};
inline constexpr MadeSet kTuningSet{1, 11}, kJudgingSet{91, 8191};
std::vector<Song> made_songs(unsigned first_kit);
// Music of Debian packages that is installed here; `missing` gets the packages of what is not.
std::vector<Song> recorded_songs(bool tuning, std::vector<std::string>& missing);
// The hall's response of Debian's guitarix-common; empty where it is not installed.
test::Track hall_response();

std::vector<Case> cases(const std::vector<Song>& songs, unsigned seed, bool hall);
// Made songs know their copies; in recorded ones they are looked for, see copies_in().
void note_repeats(Case& each, const Song& song);
// Seconds of what the clip holds of the song in which the song sounds at all (−60 dB beside full scale).
double sounding(const Case& each, const Song& song);
test::Track sound_of(const Case& each, const std::vector<Song>& songs, const test::Track& hall);

}  // namespace everytake::bench
