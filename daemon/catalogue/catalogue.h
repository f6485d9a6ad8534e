// What everytake remembers of a shoot. Every change is one transaction: durable when it returns without an error,
// without effect otherwise. May be called from any thread, and by several processes.
#pragma once

#include <functional>
#include <map>
#include <memory>

#include "catalogue/reader.h"

namespace everytake::catalogue {

class Catalogue final : public Reader {
 public:
  // Opens the file, makes it where it is missing, and brings it to today's schema. `invalid` when it is damaged,
  // `unsupported` when a newer program or another one made it.
  static Result<std::unique_ptr<Catalogue>> open(const Path& file, const Db::Options& options = {});
  // An empty one that nothing is kept of, to ask where there is none yet.
  static Result<std::unique_ptr<Catalogue>> empty();

  // ---- Cards ----
  // `busy` while another process has the card that `alive` says lives; taken over from a dead one.
  Result<void> take_card(const std::string& card, const Holder& self, Instant now,
                         const std::function<bool(const Holder&)>& alive);
  Result<void> release_card(const std::string& card, const Holder& self);  // no error where another one has it

  // ---- Offloading ----
  // Makes the row of `now.name`, or brings it up to date; what `now` leaves empty stays as it was. A folder that gets
  // its first mark, and that no filesystem's UUID speaks for, may be any: its copies do not count until they are read
  // back.
  Result<DestinationId> destination(const DestinationRow& now);
  // One visit: marks every file as seen at `roll.opened_at`, and makes `roll` for those without a row. Its name is the
  // next number that is not `taken`. Returns a row for every file, in order; and the roll where one was made.
  struct Visit {
    std::optional<Roll> roll;
    std::vector<FileId> files;
  };
  Result<Visit> open_visit(Roll roll, std::span<const VisitedFile> files,
                           const std::function<bool(const std::string& name)>& taken);
  Result<void> record_trouble(FileId file, const std::string& what);  // until a reading goes well
  // Files met elsewhere, at `card`: from now on they are its, too.
  Result<void> record_sightings(const std::string& card, std::span<const Sighting> sightings);
  // The file that lies at `path` of the card is not the one it was met as.
  Result<void> forget_sighting(const std::string& card, const Path& path);

  Result<void> note_length_of_song(const Path& file, std::uint64_t size, FileTime mtime, Micros length);
  // Takes the place of what was known of these copies; readings, and trouble with reading, may come along in the same
  // transaction.
  //
  // A digest is never moved by one reading: where another is known, a single reading that differs makes the file
  // suspect, and two in a row take the other's place. Then every copy that was read back with another digest has
  // failed, in the same transaction. A copy that is told as verified with another digest than the file's is recorded as
  // failed.
  Result<void> record_copies(std::span<const CopyRow> copies, std::span<const FileReading> readings = {},
                             std::span<const FileTrouble> troubles = {});
  // Problems of a roll: `problems` take the place of those there.
  Result<void> record_problems(RollId roll, std::span<const Problem> problems, Instant now);

  // ---- Copies of this catalogue ----
  // From now on a catalogue left at a destination bears this stamp; nothing where it is known already.
  Result<void> add_stamp(const std::string& stamp, Instant now);
  // Takes the place of a catalogue that is lost: its id, and the stamp of the copy it left last.
  Result<void> take_over(const std::string& id, const std::string& stamp);

  // ---- Rebuilding ----
  // After a catalogue was brought back from elsewhere: no copy counts as verified, no card is in anybody's hands.
  Result<void> distrust_copies();
  // Adds what the roll of this name lacks: itself, files, copies (not verified) at `destination`. Returns how many
  // files the catalogue knows with another digest; its own stays.
  Result<std::size_t> restore_roll(const Roll& roll, std::span<const RestoredFile> files, DestinationId destination);

  // ---- Clips ----
  // Makes rows for clips whose first file has a row; what is there already stays. A clip that gets a file it did not
  // have is to be studied again. Returns their ids in order.
  Result<std::vector<ClipId>> put_clips(std::span<const ClipFiles> clips, const std::map<std::string, FileId>& files);
  Result<void> record_facts(ClipId clip, const ClipFacts& facts, Instant now);  // with its problems; it is studied now
  Result<void> record_levels(ClipId clip, const SoundLevels& levels);           // until facts are recorded anew
  Result<void> record_frames(ClipId clip, const FramesSeen& frames);            // the same
  Result<void> record_rule(ClipId clip, const Judgement& judgement);            // the rule's kind
  Result<void> record_placement(ClipId clip, const Placement& placement);       // by its `by`; `pending` forgets it
  Result<void> edit(std::span<const HandEdit> edits);                           // by hand: all of them or none

  // Takes back the last edit() that was not taken back, of the last hundred. The clips that it had changed; none where
  // there is none.
  Result<std::vector<ClipId>> take_back_edit();

  // -- the set --
  Result<void> add_setup(const Setup& setup);      // its id is given
  Result<std::optional<Setup>> take_back_setup();  // the one said last; nullopt where there is none
  Result<void> set_camera_clock(const CameraClock& clock);
  Result<void> put_setup_marks(std::span<const SetupMarks> all);  // in place of every mark by setup

 private:
  using Reader::Reader;
};

}  // namespace everytake::catalogue
