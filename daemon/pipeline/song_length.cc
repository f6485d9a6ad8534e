#include "pipeline/song_length.h"

#include "catalogue/catalogue.h"
#include "examiner/examiner.h"
#include "os/paths.h"
#include "pipeline/open_shoot.h"

namespace everytake::pipeline {
namespace {

constexpr auto kPatience = std::chrono::milliseconds(200);  // measuring takes no longer

// nullptr where there is none, or it can't be had at once: then the song is measured.
std::unique_ptr<catalogue::Catalogue> catalogue_in(const Path& shoot) {
  if (!exists(shoot / kCatalogueFile)) return nullptr;
  catalogue::Db::Options options;
  options.create = false;
  options.busy_timeout = kPatience;
  auto catalogue = catalogue::Catalogue::open(shoot / kCatalogueFile, options);
  return catalogue ? std::move(*catalogue) : nullptr;
}

}  // namespace

Result<Micros> song_length(const Path& shoot, const Path& song) {
  const auto located = TRY(locate_file(song));
  const auto stat = TRY(located.folder->stat(located.name));
  const auto catalogue = catalogue_in(shoot);
  if (catalogue)
    if (const auto known = catalogue->length_of_song(located.real, stat.size, stat.mtime); known && *known)
      return **known;
  const auto length = TRY(examiner::Examiner().length(*located.folder, located.name, {}));
  if (catalogue) (void)catalogue->note_length_of_song(located.real, stat.size, stat.mtime, length);  // else once more
  return length;
}

}  // namespace everytake::pipeline
