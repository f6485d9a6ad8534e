#include "pipeline/copy_status.h"

#include <fmt/format.h>

#include <algorithm>
#include <set>

#include "base/text.h"
#include "offload/hash.h"
#include "offload/identity.h"
#include "os/volume.h"
#include "pipeline/chosen_rolls.h"

namespace everytake::pipeline {
namespace {

bool unchanged(const FileStat& now, const FileStat& then, const std::string& filesystem) {
  if (now.type != FileType::regular || now.size != then.size) return false;
  if (!keeps_file_numbers(filesystem)) return offload::same_coarse_time(now.mtime, then.mtime);
  return now.mtime == then.mtime && now.ctime == then.ctime && now.inode == then.inode;
}

}  // namespace

IndexedFiles::IndexedFiles(std::vector<catalogue::FileRow> own, std::vector<catalogue::FileRow> met,
                           std::vector<catalogue::Sighting> sightings)
    : rows_(std::move(own)), sightings_(std::move(sightings)), own_(rows_.size()) {
  std::map<std::int64_t, std::uint32_t> by_id;
  for (auto& row : met) {
    by_id[row.id.value] = static_cast<std::uint32_t>(rows_.size());
    rows_.push_back(std::move(row));
  }
  by_path_.reserve(own_ + sightings_.size());
  for (std::uint32_t i = 0; i < own_; ++i) by_path_.push_back({&rows_[i].file, rows_[i].seen_at, i, false});
  for (const auto& each : sightings_)
    if (const auto it = by_id.find(each.file.value); it != by_id.end())
      by_path_.push_back({&each.as, each.seen_at, it->second, true});
  std::ranges::sort(by_path_, [](const Entry& a, const Entry& b) {
    const int order = a.as->path.native().compare(b.as->path.native());
    if (order != 0) return order < 0;
    return a.elsewhere != b.elsewhere ? a.elsewhere : a.row < b.row;  // the card's own go before what was met
  });
}

Result<IndexedFiles> IndexedFiles::of_card(const catalogue::Catalogue& catalogue, const std::string& card) {
  return IndexedFiles(TRY(catalogue.files_of_card(card)), TRY(catalogue.files_met_at(card)),
                      TRY(catalogue.sightings_of_card(card)));
}

Result<IndexedFiles::Match> IndexedFiles::match(const ReadFs& card, const CardFile& file) const {
  Match match;
  std::optional<Result<Digest>> sample;
  const auto path_of = [](const Entry& entry) -> const std::string& { return entry.as->path.native(); };
  for (auto it = std::ranges::lower_bound(by_path_, file.path.native(), {}, path_of);
       it != by_path_.end() && path_of(*it) == file.path.native(); ++it) {
    if (match.known == offload::FileSeen::Known::unknown)
      match.known = offload::FileSeen::Known::changed;  // until a row is this file
    const auto& row = rows_[it->row];
    if (!offload::may_be_same(file, *it->as)) continue;
    if (row.sample && !sample) sample = offload::sample_of(card, file);
    if (sample && !*sample) {
      const auto& error = sample->error();
      if (offload::ends_card(error)) return tl::unexpected(error);
      match = {offload::FileSeen::Known::unread, &row, it->elsewhere, error.what};
      continue;
    }
    if (row.sample && **sample != row.sample) continue;
    const bool was_read = row.sample && row.digest && row.readings > 0;
    match = {was_read ? offload::FileSeen::Known::equal : offload::FileSeen::Known::unread, &row, it->elsewhere,
             ""};  // the newest wins
  }
  return match;
}

std::vector<Path> IndexedFiles::vanished(const Listing& listing) const {
  Instant last{};
  for (const auto& entry : by_path_) last = std::max(last, entry.seen_at);
  std::set<std::string> here;
  for (const auto& file : listing.files) here.insert(file.path.string());
  std::vector<Path> gone;
  for (const auto& entry : by_path_)
    if (entry.seen_at == last && !here.count(entry.as->path.string())) gone.push_back(entry.as->path);
  return gone;
}

offload::CopySeen::Now look_at(const catalogue::CopyRow& copy, const MatchedDestination& matched) {
  using Now = offload::CopySeen::Now;
  if (!matched.is_here()) return Now::absent;
  const auto stat = matched.open->fs->stat(copy.stored);
  if (!stat) return stat.error().code == Code::not_found ? Now::missing : Now::absent;
  return unchanged(*stat, copy.stat, matched.open->volume.filesystem) ? Now::unchanged : Now::changed;
}

const catalogue::CopyRow* good_copy(const catalogue::FileRow& file, const MatchedDestination& matched) {
  for (const auto& copy : file.copies)
    if (copy.destination == matched.id && copy.state == CopyState::verified &&
        look_at(copy, matched) == offload::CopySeen::Now::unchanged)
      return &copy;
  return nullptr;
}

std::vector<PlannedDestination> known_destinations(const Plan& plan, std::span<const catalogue::DestinationRow> rows) {
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

CopyStatus::CopyStatus(const Plan& plan, std::span<OpenDestination> open, std::vector<catalogue::DestinationRow> rows)
    : rows_(std::move(rows)), matches_(match_destinations(open, rows_)) {
  for (const auto& row : rows_) {
    const MatchedDestination* found = nullptr;
    for (const auto& matched : matches_)
      if (matched.id == row.id && (!found || (!found->is_here() && matched.is_here()))) found = &matched;
    offload::DestinationSeen seen;
    seen.name = row.name;
    seen.wanted = is_planned(plan, row.name);
    if (found) {
      seen.own_disk = found->open->planned.own_disk;
      seen.accept_cached = found->open->planned.accept_cached;
      if (found->open->fs) seen.disks = found->open->volume.disks;
    }
    if (!found)
      seen.trouble = fmt::format("\"{}\" is not known any more", shown(row.name));
    else if (!found->is_here())
      seen.trouble = found->absence->message;
    else if (!found->is_vouched_for)
      seen.trouble = fmt::format("\"{}\" has no mark yet to know it by: run \"everytake verify\"", shown(row.name));
    by_id_[row.id.value] = seen_.size();
    seen_.push_back(std::move(seen));
    of_row_.push_back(found);
  }
  for (const auto& each : plan.destinations)
    if (std::ranges::none_of(rows_, [&](const auto& row) { return row.name == each.name; })) {
      seen_.push_back({});
      seen_.back().name = each.name;
      of_row_.push_back(nullptr);
    }
}

offload::CopySeen CopyStatus::seen(const catalogue::CopyRow& copy, const catalogue::FileRow& file) const {
  offload::CopySeen seen;
  seen.destination = by_id_.at(copy.destination.value);  // a copy's row points at a destination's
  seen.state = copy.state;
  seen.is_the_file = copy.digest && copy.digest == file.digest;
  seen.evidence = copy.readback.value_or(Evidence::cached);
  seen.verified_at = copy.verified_at;
  if (const auto* matched = of_row_[seen.destination]) seen.now = look_at(copy, *matched);
  return seen;
}

namespace {

constexpr std::size_t kBlocksAsked = 4;

// The copies to ask for a block of: the largest, as those are on the medium for certain, and some from all over.
std::vector<const catalogue::CopyRow*> some_copies(DestinationId destination,
                                                   std::span<const catalogue::FileRow* const> files) {
  std::vector<const catalogue::CopyRow*> all;
  for (const auto* file : files)
    for (const auto& copy : file->copies)
      if (copy.destination == destination && copy.state == CopyState::verified && copy.stat.size > 0)
        all.push_back(&copy);
  if (all.empty()) return all;
  const auto size = [](const catalogue::CopyRow* copy) { return copy->stat.size; };
  std::vector<const catalogue::CopyRow*> some{*std::ranges::max_element(all, {}, size)};
  for (std::size_t i = 1; i < std::min(kBlocksAsked, all.size()); ++i)
    some.push_back(all[i * (all.size() - 1) / (kBlocksAsked - 1)]);
  return some;
}

}  // namespace

void CopyStatus::ask_for_life(std::span<const catalogue::FileRow* const> files, std::stop_token stop) {
  for (std::size_t i = 0; i < rows_.size(); ++i)
    if (of_row_[i] && seen_[i].trouble.empty()) seen_[i].trouble = sign_of_life(i, files, stop);
}

std::string CopyStatus::sign_of_life(std::size_t index, std::span<const catalogue::FileRow* const> files,
                                     std::stop_token stop) const {
  const auto& fs = *of_row_[index]->open->fs;
  const auto dead = [&](const std::string& why) {
    return fmt::format("\"{}\" does not answer from its disk: {}", shown(rows_[index].name), why);
  };
  const auto copies = some_copies(rows_[index].id, files);
  if (copies.empty()) return "";
  if (const auto there = fs.still_there(); !there) return dead(there.error().what);
  auto best = Evidence::cached;
  for (const auto* copy : copies) {
    if (stop.stop_requested()) return dead("stopped");
    const auto evidence = offload::read_last_block(fs, copy->stored, copy->stat.size);
    // A copy that is gone or changed speaks for itself.
    if (!evidence && evidence.error().code != Code::not_found &&
        look_at(*copy, *of_row_[index]) == offload::CopySeen::Now::unchanged)
      return dead(evidence.error().what);
    if (evidence) best = std::min(best, *evidence);
  }
  const bool proven = best != Evidence::cached || seen_[index].accept_cached;
  return proven ? "" : dead("what it says comes from memory for all that can be seen");
}

}  // namespace everytake::pipeline
