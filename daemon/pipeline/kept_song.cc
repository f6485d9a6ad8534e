#include "pipeline/kept_song.h"

#include "base/text.h"
#include "pipeline/open_shoot.h"
#include "pipeline/song_length.h"

namespace everytake::pipeline {

Result<std::shared_ptr<const align::SongIndex>> KeptSong::of(catalogue::Catalogue& catalogue, const Path& shoot,
                                                             const Song& song, std::stop_token stop) {
  if (!song.file) return nullptr;
  const auto located = TRY(locate_file(shoot / *song.file));
  const auto stat = located.folder->stat(located.name);
  if (!stat) return tl::unexpected(stat.error());
  const Path file = located.real;
  if (index_ && file == file_ && stat->size == size_ && stat->mtime == mtime_) return index_;
  auto heard = examiner_.sound(*located.folder, located.name, align::kAlignRate, std::move(stop));
  if (!heard) return tl::unexpected(within(shown(file.string()), std::move(heard.error())));
  if (heard->samples.empty()) return fail(Code::invalid, shown(file.string()) + ": no sound in it");
  index_ = std::make_shared<const align::SongIndex>(std::move(heard->samples));
  remember_song_length(catalogue, shoot, song);
  file_ = file;
  size_ = stat->size;
  mtime_ = stat->mtime;
  return index_;
}

}  // namespace everytake::pipeline
