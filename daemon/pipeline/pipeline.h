// The story of everytake: a card comes in, verified copies and studied clips come out. Each step takes what is
// pending from the catalogue and records what it found, so any of them can be killed and run again.
#pragma once

#include <functional>
#include <map>
#include <memory>
#include <optional>
#include <span>
#include <stop_token>
#include <string>
#include <vector>

#include "align/song_index.h"
#include "base/clock.h"
#include "catalogue/catalogue.h"
#include "examiner/examiner.h"
#include "model.h"
#include "offload/copy.h"
#include "offload/verdict.h"
#include "pipeline/destinations.h"
#include "pipeline/match_destinations.h"

namespace everytake::pipeline {

// A card as it is mounted now.
struct Card {
  Path root;
  const ReadFs& fs;  // rooted there; has no method that writes
  Volume volume;
  bool is_medium = false;             // on a medium that may be formatted; else it is a folder of this computer's disk
  std::vector<std::string> beside{};  // what lies beside the folder on the card, where it is not the whole card
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
    std::optional<Evidence> readback;  // the weakest of the card's copies that were read back equal
  };
  std::string roll;  // the one this visit made, else the card's latest; empty on a dry run that would make one
  Path root;
  std::string label, uuid, identity;
  std::size_t files = 0;  // on the card
  std::uint64_t bytes = 0;
  std::vector<Destination> destinations;
  std::vector<Problem> problems;
  std::vector<std::string> remarks;        // what a person should know, although all is well
  std::map<std::string, std::size_t> met;  // files that were kept before from elsewhere, by roll: not copied again
  std::vector<ClipId> clips;               // the card's
  std::optional<Error> ended;              // what ended the visit early: the card went away, a stop, the catalogue
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
  std::function<void(const offload::CopyProgress&)> progress = [](const offload::CopyProgress&) {};
};

// Which copies are meant.
struct CopyChoice {
  std::vector<RollId> rolls;               // none named: all
  std::optional<std::string> destination;  // not named: all
};

// How the copies at one destination are, each read back now.
struct CopiesReport {
  std::string name;
  Path path;
  bool is_here = false;
  std::size_t files = 0;             // that should be there
  std::size_t verified = 0;          // read back and equal to what the card held
  std::uint64_t bytes = 0;           // of those
  std::size_t differing = 0;         // read back, and not what the card held
  std::size_t missing = 0;           // were verified there, and are not there any more
  std::size_t unreadable = 0;        // the disk answers with an error
  std::size_t unproven = 0;          // equal, but not shown to come from the disk
  std::size_t unfinished = 0;        // never came to a good end there
  std::size_t repaired = 0;          // made anew from another destination's copy
  std::optional<Evidence> readback;  // the weakest of the verified ones
  bool is_whole() const { return is_here && verified == files; }
};

struct VerifyReport {
  std::vector<CopiesReport> destinations;
  std::vector<Problem> problems;
  std::vector<std::string> left_out;  // rolls whose card is being worked on, where none was named
  std::optional<Error> ended;         // a stop
};

struct RepairReport {
  std::map<std::string, std::size_t> repaired;  // files, by destination
  std::vector<Problem> problems;
  std::vector<std::string> left_out;  // as in VerifyReport
  std::optional<Error> ended;
};

// Told of bytes read back and of bytes to read, from the threads that read, one at a time.
using VerifyWatcher = std::function<void(std::uint64_t done, std::uint64_t total)>;
// Gives the song to find clips in; nullptr where there is none to give.
using SongSource = std::function<Result<std::shared_ptr<const align::SongIndex>>(std::stop_token)>;

struct Studied {
  std::size_t clips = 0;
  std::size_t out_of_reach = 0;  // no copy of them is at a destination that is connected
  std::size_t unread = 0;        // another time: their disk, or the system, did not let them be read
  std::optional<Error> why;      // of the first of those
};

// Everything outlives the pipeline. Safe to use from several threads, each with a card of its own.
class Pipeline {
 public:
  // Without a `song`, clips are not looked for in it.
  Pipeline(catalogue::Catalogue& catalogue, const Plan& plan, const Clock& clock, SongSource song = {},
           examiner::Examiner examiner = examiner::Examiner())
      : catalogue_(catalogue), plan_(plan), clock_(clock), song_(std::move(song)), examiner_(std::move(examiner)) {}

  // Copies what the card holds and a destination lacks. Fails with `invalid` for an empty card, `busy` when another
  // process has this card, and when card or catalogue can't be read; whatever else happens is in the report.
  Result<IngestReport> ingest(const Card& card, std::span<OpenDestination> destinations, const IngestOptions& options,
                              const IngestWatcher& watcher, std::stop_token stop);

  // May the card be wiped? Looks at the catalogue, the card and every copy again. `every_byte` reads the card whole.
  // Fails where the card can't be read, and with `invalid` where the catalogue is damaged.
  Result<offload::Verdict> check_safe(const Card& card, std::span<OpenDestination> destinations, bool every_byte,
                                      std::stop_token stop);

  // Reads the chosen copies back from their disks, all disks at once, and compares them with what the card held. What
  // it finds stands in the catalogue afterwards. A roll whose card is being worked on is left out where none was named.
  // Fails when the catalogue does, and with `busy` where a named one, or every one, is being worked on.
  Result<VerifyReport> verify(std::span<OpenDestination> destinations, const CopyChoice& choice,
                              const VerifyWatcher& watcher, std::stop_token stop);

  // Makes the chosen copies that are not verified, or not there as they were, from a verified copy at another
  // destination: the card is not needed. The same promise as for a card's files holds, and the bytes must be those the
  // card held. What stands in the way under a copy's name with other bytes is moved to `<roll>.bad` beside the roll,
  // never deleted. Fails as verify() does.
  Result<RepairReport> repair(std::span<OpenDestination> destinations, const CopyChoice& choice,
                              const IngestWatcher& watcher, std::stop_token stop);

  // Probes clips from their verified copies, finds where in the song they lie, and classifies them: the named ones, or
  // all that never were. Clips without a copy in reach stay as they are; so do their places without a song. Fails where
  // the song can't be read, with all else done.
  Result<Studied> study(std::span<OpenDestination> destinations, std::span<const ClipId> only, std::stop_token stop);

  // Makes strips of frames of all clips that were studied and have none, several at once and after all else that wants
  // the processor, and keeps them in the shoot's folder, `shoot`. Clips without a copy in reach stay as they are.
  // Returns how many were looked at. Fails where a strip can't be kept, with all others done.
  Result<std::size_t> pictures(std::span<OpenDestination> destinations, Fs& shoot, std::stop_token stop);

  // Gives clips their kind by rule anew, from what is known of them and where they lie in the song. None named: all.
  Result<void> classify(std::span<const ClipId> only);

  // Lets the clips before and after tell where the sound alone leaves a choice; see align/settle.h. To be called after
  // places changed.
  Result<void> settle_choices();

 private:
  // Where the rolls lie at the destinations that are here.
  Result<std::vector<RollsAt>> rolls_here(std::span<OpenDestination> destinations) const;
  // A clip's sound, mono at kAlignRate, and its levels recorded. Fails where one of its disks went away, or on a stop.
  Result<std::vector<float>> hear(std::span<OpenDestination> destinations, const catalogue::PendingClip& clip,
                                  std::stop_token stop);
  Result<void> place_clips(std::span<OpenDestination> destinations, std::span<const catalogue::PendingClip> clips,
                           std::stop_token stop);

  catalogue::Catalogue& catalogue_;
  const Plan& plan_;
  const Clock& clock_;
  const SongSource song_;
  const examiner::Examiner examiner_;
};

}  // namespace everytake::pipeline
