// What the catalogue holds, as values.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "model.h"

namespace everytake::catalogue {

struct Roll {
  RollId id;
  std::string name;  // "R001"
  Instant opened_at{};
  std::string card;  // names the card: its filesystem and the folder in it; a hint, no proof
  Path card_root;    // where it was mounted
  std::string card_label;
  std::string card_uuid;  // of its filesystem; empty where it has none
  std::string identity;   // of its listing, for people to compare
};

// A file at a destination.
struct CopyRow {
  FileId file;
  DestinationId destination;
  CopyState state = CopyState::planned;
  Path stored;  // relative to the destination's folder
  std::optional<Evidence> readback;
  std::optional<Instant> verified_at;
  FileStat stat;                 // as it stood there when it was verified
  std::optional<Digest> digest;  // that was read back when it was found equal; the file's where it is verified
};

// Whether it lies, or lay, there under its stored name.
inline bool is_stored(const CopyRow& copy) {
  return copy.state == CopyState::verified || copy.state == CopyState::copied;
}

struct FileRow {
  FileId id;
  RollId roll;
  CardFile file;
  std::optional<Digest> sample;        // of its first and last MiB; nullopt until it was read
  std::optional<Digest> digest;        // nullopt until it was read to its end
  int readings = 0;                    // whole readings of the card that gave this digest
  std::optional<std::string> suspect;  // what went wrong while reading it; nullopt once read well
  Instant seen_at{};                   // when an offload last saw it on the card
  std::vector<CopyRow> copies;
};

// A file of the card as this visit sees it.
struct VisitedFile {
  std::optional<FileId> id;  // nullopt: new, a row is made in the visit's roll
  CardFile file;
  bool elsewhere = false;  // known from another card or folder: see Sighting
};

// A file that was met again elsewhere: on the same card under another folder, or in a copy of the card. All its bytes
// were read there and are the file's.
struct Sighting {
  FileId file;
  CardFile as;  // path from that card's root, size and time there
  Instant seen_at{};
};

// A file that was read to its end, and well.
struct FileReading {
  FileId file;
  Digest digest;
  Digest sample;
  int readings = 1;  // that gave this digest, one after the other
};

// A file that could not be read well.
struct FileTrouble {
  FileId file;
  std::string what;
};

struct DestinationRow {
  DestinationId id;
  std::string name;
  Path path;         // where it was last
  std::string disk;  // the disks beneath, for people; empty where not known
  std::string fs_uuid;
  std::string mark;  // the id in the folder itself; empty until it had one
  Path home;         // the shoot's folder in it; empty until it has one
};

struct PendingClip {
  ClipId id;
  std::string roll;
  ClipFiles files;  // paths relative to the card
};

// Who holds a card: enough to tell whether that process still lives.
struct Holder {
  std::int64_t pid = 0;
  std::string boot;       // "<machine>/<boot>", the machine with its name first; see machine()
  std::int64_t born = 0;  // clock ticks since boot
  bool operator==(const Holder&) const = default;
  // "laptop#1f0c…": the machine's name, and its number where it has one. Empty in a row from before machines were kept.
  std::string_view machine() const {
    const auto slash = boot.find('/');
    return slash == std::string::npos ? std::string_view() : std::string_view(boot).substr(0, slash);
  }
  std::string_view machine_name() const { return machine().substr(0, machine().find('#')); }
};

// What takes a card's place in the lock on the notes beside the rolls, which all cards share; no card is called so.
inline constexpr const char* kNotesBesideTheRolls = "notes";

struct CardInHand {
  Holder holder;
  Instant since{};
  std::vector<std::string> rolls;  // of that card so far
};

// A file found at a destination when the catalogue was lost.
struct RestoredFile {
  CardFile file;
  Digest digest;
  Path stored;  // relative to the destination's folder
};

struct RollSummary {
  struct At {
    std::string destination;
    std::size_t verified = 0, failed = 0, begun = 0;  // files; begun: neither of the others yet
    std::uint64_t verified_bytes = 0;
  };
  Roll roll;
  std::size_t files = 0;
  std::uint64_t bytes = 0;
  std::vector<At> destinations;   // that hold something of it, or began to
  std::vector<Problem> problems;  // of its last offload
};

// What can be said of a clip by hand.
enum class Field { kind, member, section, look, angle, note, rating };
const char* to_string(Field field);  // "kind", "member" …
std::optional<Field> parse_field(std::string_view text);

// What a clip has of the setup it was recorded under.
struct SetupMarks {
  ClipId clip;
  std::vector<std::pair<Field, std::string>> values;
  std::string because;
  bool operator==(const SetupMarks&) const = default;
};

// One change by hand. Members and sections are sets: `set` adds one, `remove` takes one away. The other fields hold
// one value, which `set` replaces. `clear` withdraws what the hand said, so that a setup or a rule speaks again.
struct MarkChange {
  enum class Act { set, remove, clear };
  Field field;
  Act act = Act::set;
  std::string value;
};

// All that one command changes of one clip.
struct HandEdit {
  ClipId clip;
  std::vector<MarkChange> marks;  // in this order
  std::optional<Placement> placement;
  bool clear_placement = false;
};

}  // namespace everytake::catalogue
