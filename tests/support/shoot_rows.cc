#include "support/shoot_rows.h"
#include "support/rooms.h"

#include <fmt/format.h>

namespace everytake::test {

using namespace std::chrono_literals;

std::vector<DestinationId> ShootRows::destinations() {
  return {must(catalogue_->destination({{}, "desk", dir_ / "desk", "disk-1", "uuid-desk", "", ""})),
          must(catalogue_->destination({{}, "shuttle", dir_ / "shuttle", "disk-2", "uuid-shuttle", "", ""}))};
}

std::vector<FileId> ShootRows::visit(const std::vector<Path>& paths, Instant at, const std::string& card) {
  const Roll roll{{}, "", at, card, "/media/card", "TOLL-A", "4A17-0B2C", "d41d"};
  std::vector<VisitedFile> seen;
  for (const auto& path : paths) seen.push_back({std::nullopt, {path, 1000, kShot}});
  return must(catalogue_->open_visit(roll, seen, [](const std::string&) { return false; })).files;
}

void ShootRows::put_copies(const std::vector<FileId>& files, CopyState state) {
  std::vector<CopyRow> copies;
  std::vector<FileReading> readings;
  const auto places = destinations();
  for (const auto& roll : must(catalogue_->rolls()))
    for (const auto& row : must(catalogue_->files_of_roll(roll.id))) {
      if (std::find(files.begin(), files.end(), row.id) == files.end()) continue;
      readings.push_back({row.id, digest_of(row.id), digest_of(row.id), 1});
      for (const auto place : places) {
        copies.push_back(verified_copy(row.id, place, Path("saltmarsh-radio") / roll.name / row.file.path));
        copies.back().state = state;
      }
    }
  must(catalogue_->record_copies(copies, readings));
}

std::vector<ClipId> ShootRows::clips(const std::vector<std::string>& names, const std::string& card) {
  std::vector<Path> paths;
  for (const auto& name : names) paths.push_back("CLIP/" + name + ".MP4");
  const auto files = visit(paths, kNoon, card);
  put_copies(files);
  std::vector<ClipFiles> clips;
  std::map<std::string, FileId> ids;
  for (std::size_t i = 0; i < names.size(); ++i) {
    clips.push_back({names[i], {{paths[i], FileRole::video}}});
    ids[paths[i].string()] = files[i];
  }
  return must(catalogue_->put_clips(clips, ids));
}

CopyRow verified_copy(FileId file, DestinationId destination, const Path& stored) {
  return {file,
          destination,
          CopyState::verified,
          stored,
          Evidence::direct,
          kNoon + 1min,
          {FileType::regular, 1000, kShot, kShot + 1h, 0, 4711},
          digest_of(file)};
}

Digest digest_of(FileId file) {
  return *Digest::from_hex(fmt::format("{:032x}", file.value));
}

}  // namespace everytake::test
