// The story of everytake: a card comes in, verified copies and studied clips come out. Each step takes what is
// pending from the catalogue and records what it found, so any of them can be killed and run again.
#pragma once

#include <functional>
#include <optional>
#include <span>
#include <stop_token>
#include <string>
#include <vector>

#include "base/clock.h"
#include "catalogue/catalogue.h"
#include "destinations.h"
#include "model.h"
#include "offload/copy.h"
#include "offload/verdict.h"

namespace everytake {

// A card as it is mounted now.
struct Card {
  Path root;
  const ReadFs& fs;  // rooted there; has no method that writes
  Volume volume;
};

struct IngestOptions {
  bool dry_run = false;     // nothing is written, not even a row
  bool read_twice = false;  // also where the plan does not ask for it
};

struct IngestReport {
  struct Destination {
    enum class State { verified, incomplete, failed };
    std::string name;
    Path path;
    State state = State::failed;
    std::size_t files = 0;  // of the card, verified there
    std::uint64_t bytes = 0;
    std::size_t copied_files = 0;   // by this visit
    std::size_t already_files = 0;  // before it
    std::size_t failed_files = 0;
    std::optional<Evidence> readback;  // the weakest of the card's verified copies
  };
  std::string roll;  // the one this visit made, else the card's latest; empty on a dry run of a new card
  Path root;
  std::string label, uuid, identity;
  std::size_t files = 0;  // on the card
  std::uint64_t bytes = 0;
  std::vector<Destination> destinations;
  std::vector<Problem> problems;
  std::vector<ClipId> clips;   // the card's
  std::optional<Error> ended;  // what ended the visit early: the card went away, a stop, the catalogue
};

// Told while it works, on the thread that called.
struct IngestWatcher {
  struct Start {
    std::string roll;
    std::size_t files = 0;             // to read from the card
    std::uint64_t bytes = 0;           // the same
    std::vector<std::string> targets;  // as CopyProgress counts them
    std::vector<std::uint64_t> target_bytes;
  };
  std::function<void(const Start&)> started = [](const Start&) {};
  std::function<void(const CopyProgress&)> progress = [](const CopyProgress&) {};
};

// Everything outlives the pipeline. Safe to use from several threads, each with a card of its own.
class Pipeline {
 public:
  Pipeline(Catalogue& catalogue, const Plan& plan, const Clock& clock)
      : catalogue_(catalogue), plan_(plan), clock_(clock) {}

  // Copies what the card holds and a destination lacks. Fails with `invalid` for an empty card, `busy` when another
  // process has this card, and when card or catalogue can't be read; whatever else happens is in the report.
  Result<IngestReport> ingest(const Card& card, std::span<OpenDestination> destinations, const IngestOptions& options,
                              const IngestWatcher& watcher, std::stop_token stop);

  // May the card be wiped? Looks at the card and at every copy again. `every_byte` reads the card whole.
  Result<Verdict> judge(const Card& card, std::span<OpenDestination> destinations, bool every_byte,
                        std::stop_token stop);

  // Probes and classifies clips from their verified copies: the named ones, or all that never were. Clips without a
  // copy in reach stay as they are. Returns how many were studied.
  Result<std::size_t> study(std::span<OpenDestination> destinations, std::span<const ClipId> only,
                            std::stop_token stop);

  // Gives clips their kind by rule anew, from what is known of them and where they lie in the song. None named: all.
  Result<void> classify(std::span<const ClipId> only);

 private:
  Catalogue& catalogue_;
  const Plan& plan_;
  const Clock& clock_;
};

}  // namespace everytake
