// The song, decoded and made ready to find clips in: once, and kept while its file stays as it is.
#pragma once

#include <memory>
#include <stop_token>

#include "align/song_index.h"
#include "catalogue/catalogue.h"
#include "examiner/examiner.h"
#include "model.h"
#include "os/fs.h"

namespace everytake::pipeline {

// For one thread. Holds about 45 kB a second of song.
class KeptSong {
 public:
  // Of the song that a plan in `shoot` names; nullptr where it names none. `not_found` where the file is not there,
  // `invalid` where it has no sound, else the disk's error.
  // Its length is noted in the catalogue.
  Result<std::shared_ptr<const align::SongIndex>> of(catalogue::Catalogue& catalogue, const Path& shoot,
                                                     const Song& song, std::stop_token stop);

 private:
  const examiner::Examiner examiner_;
  Path file_;
  std::uint64_t size_ = 0;
  FileTime mtime_{};
  std::shared_ptr<const align::SongIndex> index_;
};

}  // namespace everytake::pipeline
