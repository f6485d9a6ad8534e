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

struct Measured {
  Path file;
  FileStat stat;  // before it was measured: another file that takes its place is measured anew
  Micros length{};
  bool is_known = false;
};

Result<Measured> measure(const catalogue::Catalogue* catalogue, const Path& song) {
  const auto located = TRY(locate_file(song));
  Measured measured{.file = located.real, .stat = TRY(located.folder->stat(located.name))};
  if (catalogue)
    if (const auto known = catalogue->length_of_song(measured.file, measured.stat.size, measured.stat.mtime);
        known && *known) {
      measured.length = **known;
      measured.is_known = true;
      return measured;
    }
  measured.length = TRY(examiner::Examiner().length(*located.folder, located.name, {}));
  return measured;
}

}  // namespace

Result<Micros> song_length(const Path& shoot, const Path& song) {
  return TRY(measure(catalogue_in(shoot).get(), song)).length;
}

void remember_song_length(catalogue::Catalogue& catalogue, const Path& shoot, const Song& song) {
  if (!song.file) return;
  const auto measured = measure(&catalogue, shoot / *song.file);
  if (measured && !measured->is_known)
    (void)catalogue.note_length_of_song(measured->file, measured->stat.size, measured->stat.mtime, measured->length);
}

}  // namespace everytake::pipeline
