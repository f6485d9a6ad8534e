// How the files of a card stand: which of them are known, and what has become of their copies.
#pragma once

#include <map>
#include <span>
#include <stop_token>
#include <string>
#include <vector>

#include "catalogue/catalogue.h"
#include "model.h"
#include "offload/verdict.h"
#include "pipeline/match_destinations.h"

namespace everytake::pipeline {

// The catalogue's files of one card, by their paths there.
class IndexedFiles {
 public:
  IndexedFiles(IndexedFiles&&) = default;  // what it points to moves along; a copy's would not
  IndexedFiles& operator=(IndexedFiles&&) = default;
  static Result<IndexedFiles> of_card(const catalogue::Catalogue& catalogue, const std::string& card);

  struct Match {
    offload::FileSeen::Known known = offload::FileSeen::Known::unknown;
    const catalogue::FileRow* row = nullptr;  // where it is `equal`, and where it is `unread` and may be this file
    bool elsewhere = false;                   // by a sighting
    std::string trouble;                      // why its sample could not be read; it may be `row` then
  };
  // The row that is this very file: path, size and time agree and so does a sample of its bytes. One that can't be read
  // is told by its path, size and time alone, with its trouble. Times may be whole quarters of an hour apart where the
  // sample agrees: FAT keeps local time. Fails only with what ends the card: `gone` or `cancelled`.
  Result<Match> match(const ReadFs& card, const CardFile& file) const;

  // On the card at its last visit and not in `listing`.
  std::vector<Path> vanished(const Listing& listing) const;

  std::span<const catalogue::FileRow> rows() const { return rows_; }
  // Of the card's own rolls, oldest first.
  std::span<const catalogue::FileRow> own() const { return std::span(rows_).first(own_); }

 private:
  struct Entry {
    const CardFile* as = nullptr;  // in one of the vectors below
    Instant seen_at{};
    std::uint32_t row = 0;
    bool elsewhere = false;
  };
  // `met`: files of other cards or folders, and `sightings`: as they are called here.
  IndexedFiles(std::vector<catalogue::FileRow> own, std::vector<catalogue::FileRow> met,
               std::vector<catalogue::Sighting> sightings);

  std::vector<catalogue::FileRow> rows_;  // its own, then those met here
  std::vector<catalogue::Sighting> sightings_;
  std::size_t own_ = 0;
  std::vector<Entry> by_path_;  // sorted; of one path the newest last
};

// A row's copy as it stands at this moment at its destination.
offload::CopySeen::Now look_at(const catalogue::CopyRow& copy, const MatchedDestination& matched);
// The file's copy at a destination where it is verified and stands as it was; nullptr where there is none such.
const catalogue::CopyRow* good_copy(const catalogue::FileRow& file, const MatchedDestination& matched);

// The plan's destinations, and the folders that only the catalogue knows: copies lie there too.
std::vector<PlannedDestination> known_destinations(const Plan& plan, std::span<const catalogue::DestinationRow> rows);

// The destinations of a verdict: what is open now matched with what the catalogue recorded.
class CopyStatus {
 public:
  // Several of `open` may have one name: that counts which is the folder the catalogue knows.
  CopyStatus(const Plan& plan, std::span<OpenDestination> open, std::vector<catalogue::DestinationRow> rows);

  // As it stands at this moment. The copy's destination is an index in destinations().
  offload::CopySeen seen(const catalogue::CopyRow& copy, const catalogue::FileRow& file) const;

  // Asks each destination that holds one of `files` for a sign of life: its folder, its device and its filesystem, and
  // a few blocks of those copies from the medium. What fails is its trouble from here on.
  void ask_for_life(std::span<const catalogue::FileRow* const> files, std::stop_token stop);

  const std::vector<offload::DestinationSeen>& destinations() const { return seen_; }
  std::vector<offload::DestinationSeen>& destinations() { return seen_; }

 private:
  std::string sign_of_life(std::size_t index, std::span<const catalogue::FileRow* const> files,
                           std::stop_token stop) const;

  std::vector<catalogue::DestinationRow> rows_;
  std::vector<MatchedDestination> matches_;
  std::vector<const MatchedDestination*> of_row_;  // nullptr: nowhere
  std::vector<offload::DestinationSeen> seen_;     // by row, then what is planned and has none
  std::map<std::int64_t, std::size_t> by_id_;
};

}  // namespace everytake::pipeline
