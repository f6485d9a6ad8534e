// The nouns everything speaks of, as plain values. No behaviour beyond what a noun needs to be itself.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "base/clock.h"
#include "base/rational.h"
#include "digest.h"
#include "os/fs.h"
#include "problem_code.h"

namespace everytake {

// Row numbers of the catalogue, of distinct types so that a clip's is never taken for a file's. 0 is no row.
template <class Tag>
struct Id {
  std::int64_t value = 0;
  auto operator<=>(const Id&) const = default;
};
using RollId = Id<struct RollTag>;
using FileId = Id<struct FileTag>;
using ClipId = Id<struct ClipTag>;
using DestinationId = Id<struct DestinationTag>;

// [start, end), in song time.
struct Span {
  Micros start{};
  Micros end{};
  Micros length() const { return end - start; }
  bool operator==(const Span&) const = default;
};

// Something that is not as it should be. `code` is for programs, `message` a sentence for a person.
struct Problem {
  ProblemCode code = ProblemCode::unknown;
  std::string path;         // bytes, relative to the card; empty where it is not about a file
  std::string destination;  // name; empty where it is not about one
  std::string message;
  bool operator==(const Problem&) const = default;
};

// ---- The plan -----------------------------------------------------------------------------------------------------

enum class Kind { performance, b_roll, slow_mo };
inline constexpr Kind kKinds[] = {Kind::performance, Kind::b_roll, Kind::slow_mo};
const char* to_string(Kind kind);  // "performance", "b-roll", "slow-mo"
std::optional<Kind> parse_kind(std::string_view text);

struct Meter {
  int beats = 4;  // the upper number
  int unit = 4;   // the lower number: which note a beat is
  bool operator==(const Meter&) const = default;
};

struct Wants {
  int takes = 0;
  int b_roll = 0;
  int slow_mo = 0;
  int looks = 0;
  bool operator==(const Wants&) const = default;
};

struct Member {
  std::string name;
  std::string part;  // "voice"; may be empty
};

struct Section {
  std::string name;
  Span span;
  std::optional<int> first_bar;  // counted from 1; where the section was given in bars
  std::optional<int> bars;
  std::vector<std::string> members;  // on set in it, in the plan's order of members
  Wants want;                        // the section's own where given, else the plan's
};

struct PlannedDestination {
  std::string name;
  Path path;
  bool allow_same_disk = false;
  bool accept_cached = false;
  bool own_disk = false;  // a person's word where the system can't tell: a network folder, FUSE
};

struct CameraDefault {
  std::string model;
  std::string gamma;
};

struct Song {
  std::optional<Path> file;  // as written: relative to shoot.toml
  std::optional<Micros> length;
  std::optional<double> tempo;  // quarter notes a minute
  Meter meter;
  Micros first_bar{};
  std::vector<double> playback_speeds{1.0};
};

struct Plan {
  std::string title;
  std::string performer;
  Rational frame_rate{24000, 1001};  // of the edit
  std::optional<std::string> gamma;  // what every clip should be shot in
  bool read_card_twice = false;
  Song song;
  std::vector<Member> members;
  std::vector<Section> sections;  // in song order, not overlapping
  std::vector<PlannedDestination> destinations;
  std::vector<CameraDefault> cameras;
  Micros member_seconds{};  // of b-roll and slow-mo on screen that each member should get

  std::string text;  // as it was written: a copy goes to each destination; empty where it was made in another way

  // The title as a folder name: "saltmarsh-radio". One without a letter or digit has a number of its own instead.
  std::string slug() const;
};

// ---- The card -----------------------------------------------------------------------------------------------------

struct CardFile {
  Path path;  // relative to the card's root
  std::uint64_t size = 0;
  FileTime mtime{};
  bool operator==(const CardFile&) const = default;
};

// All that is on a card. Files are sorted by the bytes of their paths.
struct Listing {
  std::vector<CardFile> files;
  std::vector<Path> folders;      // empty ones too
  std::vector<Problem> problems;  // links, devices and the like, and what could not be read
  bool complete = true;           // false when a folder or a file's entry could not be read
};

enum class FileRole { video, audio, sidecar, proxy, thumbnail };

// The files of one recording. A span has several videos, in order.
struct ClipFiles {
  std::string name;  // "C0003": the file's stem
  struct Part {
    Path path;
    FileRole role = FileRole::video;
  };
  std::vector<Part> parts;  // the first is the (first) video
};
std::vector<Path> videos_of(const ClipFiles& files);  // in order

// ---- A clip -------------------------------------------------------------------------------------------------------

// What decoding all of a clip's sound showed.
struct SoundLevels {
  std::int64_t samples = 0;  // of every channel together; 0 where nothing of it could be decoded
  double peak_db = 0;        // of the loudest sample, beside the loudest that can be written; -200 for no sound at all
  double clipped = 0;        // share of samples, 0…1, that stand at full scale three and more in a row
  bool operator==(const SoundLevels&) const = default;
};

// A sound track that holds nothing.
bool is_silent(const SoundLevels& levels);

// What the frames of a clip's strip showed.
struct FramesSeen {
  int frames = 0;  // that could be decoded, of those wanted
  int black = 0;   // of these
  bool operator==(const FramesSeen&) const = default;
};

// What is known of a recording by looking at it. Unknown is nullopt.
struct ClipFacts {
  std::optional<Micros> duration;  // of the video, as the file plays
  std::optional<std::int64_t> frames;
  std::optional<Rational> frame_rate;    // of the file
  std::optional<Rational> capture_rate;  // frames a second that the camera took
  std::optional<int> width, height;      // as displayed, after rotation
  std::optional<int> rotation;           // degrees clockwise, a multiple of 90
  std::optional<std::string> codec;
  std::optional<int> bit_depth;
  std::optional<std::int64_t> bit_rate;  // bit/s, of the whole file
  std::optional<std::string> gamma;      // as the camera names it, lower case: "s-log3"
  std::optional<std::string> gamut;
  std::optional<std::string> timecode;  // of the first frame: "01:00:00:00", with ';' where drop-frame
  std::optional<bool> drop_frame;
  std::optional<Instant> recorded_at;  // start of recording; only where the zone is known or the standard says UTC
  std::optional<std::string> camera;
  std::optional<std::string> lens;
  std::optional<int> iso;                 // exposure index; this and the next two as they were at the first frame
  std::optional<Rational> shutter;        // s that a frame was exposed
  std::optional<int> white_balance;       // K
  std::optional<bool> audio;              // has a sound stream
  std::optional<SoundLevels> levels;      // nullopt until it was listened to
  std::optional<FramesSeen> frames_seen;  // nullopt until its strip was made
  std::vector<Problem> problems;
  std::map<std::string, std::string> origin;  // field name → where its value comes from ("sidecar", "container")
};

// Whether there is something to hear, as far as is known: a sound stream, and not one found silent.
bool has_sound(const ClipFacts& facts);

enum class By { hand, setup, rule };
const char* to_string(By by);

// Where in the song a clip lies. song_time_at() and clip_time_at() below go from one to the other.
struct Placement {
  enum class State { pending, placed, ambiguous, none, no_audio };
  struct Candidate {
    Micros start{};
    double confidence = 0;
  };
  State state = State::pending;
  By by = By::rule;
  Micros start{};    // the song time heard at the clip's first frame; negative where the camera rolled before the song
  double speed = 1;  // how fast the song was played in the room
  double drift_ppm = 0;
  std::optional<double> confidence;   // nullopt where placed by hand
  std::vector<Span> spans;            // the song's stretches the clip holds, in song time
  std::vector<Candidate> candidates;  // where several fit by sound; also where one of them was settled on or chosen
  std::string settled_by;  // "R001/C0003", the neighbour whose place told which of the candidates it is; else empty
};
const char* to_string(Placement::State state);
// The same heard at another of its candidates: start and spans move with it.
Placement at_candidate(Placement placement, std::size_t candidate);
// The part of `within` that `spans` cover, however they overlap.
Micros covered(std::vector<Span> spans, Span within);
// Whether what was placed there lies in the section: with a second of it or more.
bool holds(const Placement& placement, const Section& section);

enum class CopyState { planned, copied, verified, failed };
const char* to_string(CopyState state);

struct ClipCopy {
  std::string destination;
  Path path;  // absolute
  CopyState state = CopyState::planned;
  std::optional<Instant> verified_at;
};

// What a person, a setup or a rule says of a clip.
struct Judgement {
  std::optional<Kind> kind;  // nullopt where nothing can be said: a clip that can't be read
  By by = By::rule;
  std::string because;
};

struct Clip {
  ClipId id;
  std::string roll;  // "R001"
  std::string name;
  Path path;                     // of its first video, relative to the roll
  std::uint64_t size = 0;        // in bytes, of its videos
  std::optional<Digest> digest;  // of its first video
  ClipFacts facts;
  Judgement judgement;
  std::vector<std::string> members;
  std::vector<std::string> sections;  // by hand
  std::optional<std::string> look, angle, note;
  std::optional<int> rating;
  Placement placement;
  std::vector<ClipCopy> copies;
};

// How many times slower than life the file plays: capture rate ÷ frame rate.
std::optional<Rational> slow_factor(const ClipFacts& facts);

// ---- A clip in the song -------------------------------------------------------------------------------------------

// How many seconds of its file one second on the set became: 5 for 119.88 frames a second stored at 23.976, below 1 for
// what was stored quickened. It is
//   1                             for a clip with sound, or placed by its sound: a file whose sound was recorded with
//                                 the picture plays in real time, at whatever rate (cameras record none when they slow
//                                 a picture down); a sound track that holds nothing is none
//   capture rate ÷ frame rate     for every other clip
//   nullopt                       where that is not known; whoever needs a number takes 1
std::optional<double> stored_slow(const Clip& clip);

// Seconds of song in one second of the clip, as its file plays:
//   speed · (1 + drift_ppm·10⁻⁶) ÷ stored_slow
// A song played at twice its speed, captured at 47.952 and stored at 23.976 frames a second, has the pace 1: lips are
// in time. The one rule for everybody who goes from a clip to the song or back.
double pace(const Clip& clip);
Micros song_time_at(const Clip& clip, Micros clip_time);  // placement.start + pace · clip time
Micros clip_time_at(const Clip& clip, Micros song_time);  // 0 at its first frame

// A clip whose start was said by hand holds all of the song from its first frame to its last: its spans follow from
// that start and from what is known of the clip, and are laid out anew whenever it is read. Nothing before the song
// begins, nor past its `length` where that is known; nothing at all where the clip's length is not known. Leaves clips
// placed by their sound as they are.
void lay_out_in_song(Clip& clip, std::optional<Micros> length);

// How long the clip lasts on the edit's timeline: one file frame an edit frame for slow-mo recorded at a rate above
// the edit's, else as the file plays.
std::optional<Micros> on_screen(const Clip& clip, Rational edit_rate);

}  // namespace everytake
