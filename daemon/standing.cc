#include "standing.h"

#include <algorithm>
#include <array>
#include <numeric>
#include <set>
#include <string_view>

#include "offload/hash.h"
#include "offload/identity.h"

namespace everytake {
namespace {

using namespace std::chrono_literals;

// Filesystems that give a file another number, or other times, each time they are mounted.
bool keeps_file_numbers(const std::string& filesystem) {
  constexpr std::array<std::string_view, 6> kForgetful{"vfat", "msdos", "exfat", "cifs", "smb3", "9p"};
  return !filesystem.starts_with("fuse") && !filesystem.starts_with("ntfs") &&
         std::find(kForgetful.begin(), kForgetful.end(), filesystem) == kForgetful.end();
}

// FAT keeps local time in steps of 2 s: a change of zone moves it by whole quarters of an hour.
bool same_coarse_time(FileTime a, FileTime b) {
  const auto apart = std::chrono::abs(a - b) % 15min;
  return std::chrono::abs(a - b) <= 14h + 2s && (apart <= 2s || apart >= 15min - 2s);
}

bool unchanged(const FileStat& now, const FileStat& then, const std::string& filesystem) {
  if (now.type != FileType::regular || now.size != then.size) return false;
  if (!keeps_file_numbers(filesystem)) return same_coarse_time(now.mtime, then.mtime);
  return now.mtime == then.mtime && now.ctime == then.ctime && now.inode == then.inode;
}

}  // namespace

KnownFiles::KnownFiles(std::vector<FileRow> rows) : rows_(std::move(rows)) {
  by_path_.resize(rows_.size());
  std::iota(by_path_.begin(), by_path_.end(), 0U);
  std::ranges::stable_sort(by_path_, {}, [&](auto i) -> const std::string& { return rows_[i].file.path.native(); });
}

Result<KnownFiles::Match> KnownFiles::match(const ReadFs& card, const CardFile& file) const {
  Match match;
  std::optional<std::string> sample;
  const auto path_of = [&](auto i) -> const std::string& { return rows_[i].file.path.native(); };
  const auto& path = file.path.native();
  for (auto it = std::ranges::lower_bound(by_path_, path, {}, path_of); it != by_path_.end() && path_of(*it) == path;
       ++it) {
    match.known = FileSeen::Known::changed;  // until a row turns out to be this file
    const auto& row = rows_[*it];
    if (!may_be_same(file, row.file)) continue;
    if (row.sample && !sample) sample = TRY(sample_of(card, file)).hex();
    if (row.sample && row.sample != sample) continue;
    match.row = &row;  // the newest wins
  }
  if (match.row) match.known = FileSeen::Known::equal;
  return match;
}

std::vector<Path> KnownFiles::vanished(const Listing& listing) const {
  Instant last{};
  for (const auto& row : rows_) last = std::max(last, row.seen_at);
  std::set<std::string> here;
  for (const auto& file : listing.files) here.insert(file.path.string());
  std::vector<Path> gone;
  for (const auto& row : rows_)
    if (row.seen_at == last && !here.count(row.file.path.string())) gone.push_back(row.file.path);
  return gone;
}

CopySeen::Now look_at(const CopyRow& copy, const OpenDestination* destination, const std::string& recorded_uuid) {
  using Now = CopySeen::Now;
  // Another disk may be mounted where this one was.
  if (!destination || !destination->fs || destination->volume.uuid != recorded_uuid) return Now::absent;
  const auto stat = destination->fs->stat(copy.stored);
  if (!stat) return stat.error().code == Code::not_found ? Now::missing : Now::absent;
  return unchanged(*stat, copy.stat, destination->volume.filesystem) ? Now::unchanged : Now::changed;
}

std::vector<PlannedDestination> known_destinations(const Plan& plan, std::span<const DestinationRow> rows) {
  auto known = plan.destinations;
  for (const auto& row : rows) {
    PlannedDestination here;
    bool is_planned = false;
    for (const auto& planned : plan.destinations)
      if (planned.name == row.name) {
        here = planned;
        is_planned = planned.path == row.path;
      }
    if (is_planned) continue;
    here.name = row.name;
    here.path = row.path;
    known.push_back(std::move(here));
  }
  return known;
}

Standing::Standing(std::span<OpenDestination> open, std::vector<DestinationRow> rows) {
  for (auto& row : rows) {
    Place place;
    for (const auto& each : open)
      if (each.planned.name == row.name) place.open.push_back(&each);
    const auto id = row.id.value;
    place.row = std::move(row);
    places_[id] = std::move(place);
  }
}

CopySeen Standing::seen(const CopyRow& copy) const {
  CopySeen seen;
  const auto it = places_.find(copy.destination.value);
  if (it == places_.end()) return seen;
  const auto& [row, open] = it->second;
  seen.destination = row.name;
  seen.disk = row.disk;
  seen.state = copy.state;
  seen.evidence = copy.readback.value_or(Evidence::cached);
  seen.verified_at = copy.verified_at;
  for (const auto* each : open) {
    const auto now = look_at(copy, each, row.fs_uuid);
    if (each != open.front() && now != CopySeen::Now::unchanged) continue;
    seen.now = now;
    seen.accept_cached = each->planned.accept_cached;
    if (each->fs) seen.disk = each->volume.disk;
    if (now == CopySeen::Now::unchanged) break;
  }
  return seen;
}

}  // namespace everytake
