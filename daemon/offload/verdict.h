// May this card be wiped? Decided from what was just seen, every time anew; a yes is never kept.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "model.h"

namespace everytake {

// A copy as the catalogue has it, and as it stands at this moment.
struct CopySeen {
  enum class Now {
    unchanged,  // its name, size and times are those it was verified with
    missing,    // the destination is there, the file is not
    changed,    // the file is there and is not as it was
    absent,     // the destination can't be looked at
  };
  std::string destination;
  std::string disk;  // Volume::disk; empty where not known
  CopyState state = CopyState::planned;
  Evidence evidence = Evidence::cached;
  bool accept_cached = false;
  std::optional<Instant> verified_at;
  Now now = Now::absent;
};

// A file on the card at this moment.
struct FileSeen {
  enum class Known {
    equal,    // path, size, time and sample (or all bytes) are those of a file that was read
    unknown,  // no file of this path was read
    changed,  // one was, and it was another
  };
  Path path;
  Known known = Known::unknown;
  std::string trouble;  // what went wrong while it was read; empty when it was read well
  int readings = 0;     // whole readings of the card that gave its digest
  std::vector<CopySeen> copies;
};

struct CardSeen {
  std::string roll;  // the latest of this card; empty when it was never offloaded
  std::vector<FileSeen> files;
  std::vector<Path> vanished;     // on the card at its last visit, and not now
  std::vector<Problem> troubles;  // of this listing: what could not be read, links, devices
  bool complete = true;           // the listing is
  bool every_byte = false;        // the card was read whole for this verdict
  bool wants_two_readings = false;
};

struct Verdict {
  struct Reason {
    std::string code;  // as in `safe --json`
    Path path;         // empty where it is about the whole card
    std::string message;
    bool operator==(const Reason&) const = default;
  };
  bool safe = false;
  bool every_byte = false;
  std::string roll;
  std::size_t files = 0;
  std::vector<Reason> reasons;            // why not; empty when safe
  std::vector<std::string> destinations;  // what a yes rests on
  std::optional<Instant> oldest_read_back;
  int readings = 0;              // the fewest whole readings of the card that any file had
  bool rests_on_cached = false;  // a read-back the plan accepts although it can't be shown to come from a disk
};

Verdict verdict(const CardSeen& card);

// What a yes rests on, in words, a line each.
std::vector<std::string> grounds(const Verdict& yes);

}  // namespace everytake
