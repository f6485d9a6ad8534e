// Asking the catalogue. Each answer is one state of it: what another thread or process writes meanwhile is seen
// wholly or not at all. May be called from any thread; calls wait for each other.
#pragma once

#include <functional>
#include <span>
#include <string_view>

#include "base/sync.h"
#include "catalogue/db.h"
#include "catalogue/rows.h"
#include "setups.h"

namespace everytake::catalogue {

class Reader {
 public:
  Reader(const Reader&) = delete;
  Reader& operator=(const Reader&) = delete;

  // -- this catalogue --
  Result<std::string> id() const;                          // 32 hex digits: no other has them, but copies of it do
  Result<bool> has_stamp(const std::string& stamp) const;  // whether it left a copy with this stamp

  // -- the song --
  Result<std::optional<Micros>> length_of_song(const Path& file, std::uint64_t size, FileTime mtime) const;

  // -- rolls and files --
  Result<std::vector<Roll>> rolls() const;                                    // oldest first
  Result<Roll> find_roll(std::string_view name) const;                        // `not_found` names those there are
  Result<std::vector<RollSummary>> roll_summaries() const;                    // oldest first
  Result<std::vector<FileRow>> files_of_card(const std::string& card) const;  // of all its rolls, oldest first
  Result<std::vector<FileRow>> files_met_at(const std::string& card) const;   // of other cards or folders: see Sighting
  Result<std::vector<Sighting>> sightings_of_card(const std::string& card) const;
  Result<std::vector<FileRow>> files_of_roll(RollId roll) const;
  Result<std::vector<FileRow>> files_of_size(
      std::uint64_t size) const;  // of all rolls, those that were read to their end
  // The same, one after the other: a roll may hold very many. `take` must not ask the catalogue.
  Result<void> for_each_file_of_roll(RollId roll, const std::function<void(FileRow&&)>& take) const;
  Result<std::vector<DestinationRow>> destinations() const;

  Result<std::vector<Problem>> problems_of(RollId roll) const;  // of its last offload
  // The folders at a destination in which copies of this shoot came to lie.
  Result<std::vector<Path>> homes_at(DestinationId destination) const;

  Result<std::vector<CardInHand>> cards_in_hand() const;  // whether their holders live is not asked

  // -- clips --
  // Everything known. Of what was said of a clip, the hand goes before a setup, a setup before a rule. A copy's state
  // is the least of those of the clip's videos. Sorted by roll and path.
  Result<std::vector<Clip>> clips() const;
  Result<Clip> clip(ClipId id) const;
  // By id, name, file name or path, or any of the latter three after "ROLL/"; case matters only where it decides.
  // `not_found` names the nearest, `invalid` lists the candidates where several clips could be meant.
  Result<ClipId> find_clip(std::string_view text) const;
  // Several at once: what match_clips() (match_clip.h) takes.
  Result<std::vector<ClipId>> find_clips(std::string_view text) const;
  Result<std::vector<PendingClip>> clips_to_study(
      std::span<const ClipId> only) const;                    // none named: those never studied
  Result<std::vector<PendingClip>> clips_to_place() const;    // studied, and no rule has looked for them in the song
  Result<std::vector<PendingClip>> clips_to_picture() const;  // studied, and no frames of them were seen

  // -- the set --
  Result<std::vector<Setup>> setups() const;               // by time; of one moment the one said last is last
  Result<std::vector<CameraClock>> camera_clocks() const;  // that were said or found, by camera

  // The whole catalogue as the bytes of a file that can be opened as one.
  Result<Snapshot> snapshot() const;

  // Reads the whole file and looks whether it holds together: `invalid` with SQLite's words where it doesn't.
  Result<void> check() const;

 protected:
  explicit Reader(Db db) : db_(std::move(db)) {}
  ~Reader() = default;

  mutable Mutex mu_;
  mutable Db db_ GUARDED_BY(mu_);
};

}  // namespace everytake::catalogue
