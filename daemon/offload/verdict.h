// May this card be wiped? Decided from what was just seen, every time anew; a yes is never kept.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "model.h"
#include "os/disks.h"

namespace everytake::offload {

// A destination at this moment.
struct DestinationSeen {
  std::string name;
  Disks disks;                 // beneath its folder
  bool own_disk = false;       // the person's word that it has a disk of its own, where the system can't tell
  bool accept_cached = false;  // the plan's word that what can't be shown to come from a disk is good enough
  bool on_card = false;        // it lies on the very card
  bool wanted = true;          // every file should be there
  std::string trouble;         // why nothing it says can be relied on; empty where its disk answered just now
  std::string last_visit;      // what kept it from being complete at the card's last visit; empty for nothing
};

// A copy as the catalogue has it, and as it stands at this moment.
struct CopySeen {
  enum class Now {
    unchanged,  // its name, size and times are those it was verified with
    missing,    // the destination is there, the file is not
    changed,    // the file is there and is not as it was
    absent,     // it can't be looked at
  };
  std::size_t destination = 0;  // in CardSeen::destinations
  CopyState state = CopyState::planned;
  bool is_the_file = false;  // what was read back has the digest of the file
  Evidence evidence = Evidence::cached;
  std::optional<Instant> verified_at;
  Now now = Now::absent;
};

// A file on the card at this moment.
struct FileSeen {
  enum class Known {
    equal,    // path, size, time and sample (or all bytes) are those of a file that was read
    unknown,  // no file of this path was read
    changed,  // one was, and it was another
    unread,   // one is known that may be this, but not from a reading of the card
  };
  Path path;
  Known known = Known::unknown;
  std::string trouble;  // what went wrong while it was read; empty when it was read well
  int readings = 0;     // whole readings of the card that gave its digest
  std::vector<CopySeen> copies;
};

struct CardSeen {
  std::string roll;  // the latest of this card; empty when it was never offloaded
  std::vector<DestinationSeen> destinations;
  std::vector<FileSeen> files;
  std::vector<Path> vanished;       // on the card at its last visit, and not now
  std::vector<Problem> troubles;    // of this listing: what could not be read, links, devices
  std::vector<std::string> beside;  // what else lies on the card, where only a folder of it is asked about
  bool complete = true;             // the listing is, and the card was the same before and after all was looked at
  bool every_byte = false;          // the card was read whole for this verdict
  bool wants_two_readings = false;
};

// Why a card may not be wiped. An enumerator is called as its text is, which scripts read and which is never renamed.
enum class ReasonCode {
  not_offloaded,
  new_file,
  changed_file,
  missing_copy,
  unverified_copy,
  copy_changed,
  same_disk,
  destination_absent,
  read_problem,
  too_few_copies,
};
const char* to_string(ReasonCode code);

struct Verdict {
  struct Reason {
    ReasonCode code;
    Path path;  // empty where it is about several files, or the whole card
    std::string message;
    std::string destination{};  // name; empty where it is not about one
    std::size_t files = 1;      // how many it stands for
    bool operator==(const Reason&) const = default;
  };
  bool safe = false;
  bool every_byte = false;
  std::string roll;
  std::size_t files = 0;
  std::vector<Reason> reasons;            // why not; empty when safe
  std::vector<std::string> destinations;  // what a yes rests on: where every file has a good copy, else all it needs
  std::vector<std::string> words;         // those of them that have a disk of their own by the person's word
  std::optional<Instant> oldest_read_back;
  int readings = 0;                 // the fewest whole readings of the card that any file had
  bool rests_on_cached = false;     // a read-back the plan accepts although it can't be shown to come from a disk
  bool in_several = false;          // no two destinations hold all: each file has two of those named
  std::vector<std::string> beside;  // what it says nothing of
};

Verdict verdict(const CardSeen& card);

// What a yes rests on, in words, a line each.
std::vector<std::string> grounds(const Verdict& yes);

}  // namespace everytake::offload
