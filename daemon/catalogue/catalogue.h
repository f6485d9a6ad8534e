// What everytake remembers of a shoot. Every change is one transaction: after a power cut it is there whole or not.
#pragma once

#include <functional>
#include <map>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "base/sync.h"
#include "catalogue/db.h"
#include "model.h"

namespace everytake {

struct Roll {
  RollId id;
  std::string name;  // "R001"
  Instant opened_at{};
  std::string card;  // names the card; a hint
  Path card_root;
  std::string card_label, card_uuid;
  std::string identity;  // of the listing
};

struct CopyRow {
  FileId file;
  DestinationId destination;
  CopyState state = CopyState::planned;
  Path stored;  // relative to the destination's folder
  std::optional<Evidence> readback;
  std::optional<Instant> verified_at;
  FileStat stat;  // as it stood there when it was verified
};

struct FileRow {
  FileId id;
  RollId roll;
  CardFile file;
  std::optional<std::string> sample, digest;  // 32 hex digits
  int readings = 0;
  std::optional<std::string> suspect;
  Instant seen_at{};
  std::vector<CopyRow> copies;
};

struct DestinationRow {
  DestinationId id;
  std::string name;
  Path path;
  std::string disk, fs_uuid;
};

// A file of the card as this visit sees it.
struct SeenFile {
  std::optional<FileId> id;  // nullopt: new, a row is made in the visit's roll
  CardFile file;
};

struct PendingClip {
  ClipId id;
  std::string roll;
  ClipFiles files;  // paths relative to the card
};

// Who holds a card: enough to tell whether that process still lives.
struct Holder {
  std::int64_t pid = 0;
  std::string boot;
  std::int64_t born = 0;  // clock ticks since boot
};

// Safe to use from several threads; each call waits for the others.
class Catalogue {
 public:
  // Opens or makes `file` and takes the missing migrations.
  static Result<std::unique_ptr<Catalogue>> open(const Path& file, const char* vfs = nullptr);

  // ---- Cards ----
  // `busy` while another live process holds the card; taken over when `alive` says that it is dead.
  Result<void> take_card(const std::string& card, const Holder& self, Instant now,
                         const std::function<bool(const Holder&)>& alive);
  Result<void> release_card(const std::string& card);

  // ---- Offloading ----
  Result<std::vector<Roll>> rolls();
  Result<std::vector<FileRow>> files_of_card(const std::string& card);  // of all its rolls, oldest first, with copies
  Result<std::vector<FileRow>> files_of_roll(RollId roll);
  Result<DestinationId> destination(const std::string& name, const Path& path, const std::string& disk,
                                    const std::string& fs_uuid);  // made or brought up to date
  Result<std::vector<DestinationRow>> destinations();
  // One visit: marks every file as seen at `roll.opened_at`, and makes `roll` for those without a row. Its name is the
  // next number that is not `taken`. Returns a row for every file, in order; and the roll where one was made.
  struct Visit {
    std::optional<Roll> roll;
    std::vector<FileId> files;
  };
  Result<Visit> open_visit(Roll roll, std::span<const SeenFile> files,
                           const std::function<bool(const std::string& name)>& taken);
  Result<void> record_reading(FileId file, const std::string& digest, const std::string& sample, int readings);
  Result<void> record_trouble(FileId file, const std::string& what);
  Result<void> record_copies(std::span<const CopyRow> copies);

  // Problems of a roll: `problems` take the place of those there.
  Result<void> record_problems(RollId roll, std::span<const Problem> problems, Instant now);

  // ---- Clips ----
  // Makes rows for clips whose files have rows; what is there already stays. Returns their ids in order.
  Result<std::vector<ClipId>> put_clips(std::span<const ClipFiles> clips, const std::map<std::string, FileId>& files);
  Result<std::vector<PendingClip>> clips_to_study(std::span<const ClipId> only);  // none named: those never studied
  Result<void> record_facts(ClipId clip, const ClipFacts& facts, Instant now);    // with its problems
  Result<void> record_rule(ClipId clip, const Judgement& judgement);              // the rule's kind
  Result<void> record_placement(ClipId clip, const Placement& placement);         // by its `by`

  // By hand. `add` puts a value beside those there; else it takes their place.
  struct Mark {
    std::string field, value;
    enum class Way { set, add, remove, clear } way = Way::set;
  };
  Result<void> mark(std::span<const ClipId> clips, std::span<const Mark> marks,
                    std::span<const Placement> placements);  // one a clip, or none; all or nothing

  // Everything known of every clip, in order of roll and name. See reader.cc.
  Result<std::vector<Clip>> clips();

 private:
  explicit Catalogue(Db db) : db_(std::move(db)) {}

  // Files with their copies where `condition` holds for the text or number ?1.
  template <class Value>
  Result<std::vector<FileRow>> files_where(const char* condition, const Value& value) REQUIRES(mu_);
  Result<std::string> next_roll_name(const std::function<bool(const std::string&)>& taken) REQUIRES(mu_);

  Mutex mu_;
  Db db_ GUARDED_BY(mu_);
};

}  // namespace everytake
