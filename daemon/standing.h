// How the files of a card stand: which of them are known, and what has become of their copies.
#pragma once

#include <map>
#include <span>
#include <string>
#include <vector>

#include "catalogue/catalogue.h"
#include "destinations.h"
#include "model.h"
#include "offload/verdict.h"

namespace everytake {

// The catalogue's rows of one card, by path.
class KnownFiles {
 public:
  explicit KnownFiles(std::vector<FileRow> rows);

  struct Match {
    FileSeen::Known known = FileSeen::Known::unknown;
    const FileRow* row = nullptr;  // nullptr unless equal
  };
  // The row that is this very file: path, size and time agree and so does a sample of its bytes. A row whose file was
  // never read to its end has no sample and matches by name, size and time: it is read anew anyway.
  Result<Match> match(const ReadFs& card, const CardFile& file) const;

  // On the card at its last visit and not in `listing`.
  std::vector<Path> vanished(const Listing& listing) const;

  const std::vector<FileRow>& rows() const { return rows_; }

 private:
  std::vector<FileRow> rows_;
  std::vector<std::uint32_t> by_path_;  // indices, sorted; of one path the newest last
};

// A row's copy as it stands at this moment at its destination, which is nullptr where it is not known any more.
CopySeen::Now look_at(const CopyRow& copy, const OpenDestination* destination, const std::string& recorded_uuid);

// The plan's destinations, and the folders that only the catalogue knows: copies lie there too.
std::vector<PlannedDestination> known_destinations(const Plan& plan, std::span<const DestinationRow> rows);

// Destinations by their rows: what is open now, and what the catalogue recorded of it.
class Standing {
 public:
  // Several of `open` may have one name: a copy counts where it stands as it was.
  Standing(std::span<OpenDestination> open, std::vector<DestinationRow> rows);
  CopySeen seen(const CopyRow& copy) const;

 private:
  struct Place {
    DestinationRow row;
    std::vector<const OpenDestination*> open;
  };
  std::map<std::int64_t, Place> places_;
};

}  // namespace everytake
