// A catalogue in a folder of its own, and short ways to put rows into it.
#pragma once

#include <memory>
#include <stdexcept>
#include <string>
#include <vector>

#include "catalogue/catalogue.h"
#include "support/rooms.h"
#include "support/temp_dir.h"

namespace everytake::test {

// The value, or an exception that fails the test with the error's words.
template <class T>
T must(Result<T> result) {
  if (!result) throw std::runtime_error(result.error().what);
  if constexpr (!std::is_void_v<T>) return std::move(*result);
}

inline const Instant kNoon{std::chrono::sys_days{std::chrono::year{2026} / 3 / 14} + std::chrono::hours(12)};
inline const FileTime kShot{kNoon.time_since_epoch() - std::chrono::hours(1) + std::chrono::nanoseconds(7)};

class ShootRows {
 public:
  ShootRows() : catalogue_(must(Catalogue::open(file()))) {}

  Catalogue& catalogue() { return *catalogue_; }
  Path file() const { return dir_ / "catalogue.sqlite"; }
  Path folder() const { return dir_.path(); }
  std::unique_ptr<Catalogue> another() const { return must(Catalogue::open(file())); }

  // "desk" and "shuttle" below the folder, made when first asked for.
  std::vector<DestinationId> destinations();
  // A visit of the card "card-1" that brings these files, of 1000 bytes each. Rows in the order of `paths`.
  std::vector<FileId> visit(const std::vector<Path>& paths, Instant at = kNoon, const std::string& card = "card-1");
  // The files as read, and their copies in this state at both destinations, below saltmarsh-radio/`roll`.
  void put_copies(const std::vector<FileId>& files, CopyState state = CopyState::verified);
  // A roll with one verified clip a name: CLIP/<name>.MP4. In the order of `names`.
  std::vector<ClipId> clips(const std::vector<std::string>& names, const std::string& card = "card-1");

 private:
  TempDir dir_;
  std::unique_ptr<Catalogue> catalogue_;
};

// The digest that these rows' files have.
Digest digest_of(FileId file);
// A copy of a file that was read and has that digest.
CopyRow verified_copy(FileId file, DestinationId destination, const Path& stored);

}  // namespace everytake::test
