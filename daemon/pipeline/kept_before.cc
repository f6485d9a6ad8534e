#include "pipeline/kept_before.h"

#include <algorithm>

#include "card/recognise.h"
#include "offload/identity.h"

namespace everytake::pipeline {

KeptBefore::KeptBefore(const catalogue::Catalogue& catalogue, const ReadFs& card, const Listing& listing, bool confirm,
                       std::stop_token stop)
    : catalogue_(catalogue), card_(card), confirm_(confirm), stop_(std::move(stop)) {
  for (const auto& clip : card::clips_of(listing))
    for (const auto& video : videos_of(clip)) videos_.insert(video.string());
}

bool KeptBefore::may_be(const CardFile& file, const catalogue::FileRow& row) const {
  if (!row.sample || !row.digest || row.readings < 1) return false;
  if (file.size > 0 && videos_.contains(file.path.string())) return true;
  return file.path.filename() == row.file.path.filename() && offload::same_coarse_time(file.mtime, row.file.mtime);
}

Result<const std::vector<catalogue::FileRow>*> KeptBefore::rows_of_size(std::uint64_t size) {
  auto it = by_size_.find(size);
  if (it == by_size_.end()) it = by_size_.emplace(size, TRY(catalogue_.files_of_size(size))).first;
  return &it->second;
}

Result<std::optional<Digest>> KeptBefore::digest_of(const CardFile& file) {
  if (read_last_.path == file.path) return read_last_.digest;
  const auto reading = offload::hash_file(card_, file.path, Cache::avoid, stop_);
  if (!reading && offload::ends_card(reading.error())) return tl::unexpected(reading.error());
  read_last_ = {file.path, reading ? std::optional(reading->digest) : std::nullopt};
  return read_last_.digest;
}

Result<bool> KeptBefore::is_still(const CardFile& file, const catalogue::FileRow& row) {
  const auto digest = TRY(digest_of(file));
  return digest && digest == row.digest;
}

Result<const catalogue::FileRow*> KeptBefore::find(const CardFile& file) {
  const auto* rows = TRY(rows_of_size(file.size));
  const auto candidate = [&](const catalogue::FileRow& row) { return may_be(file, row); };
  if (std::ranges::none_of(*rows, candidate)) return nullptr;
  const auto sample = offload::sample_of(card_, file);
  if (!sample && offload::ends_card(sample.error())) return tl::unexpected(sample.error());
  if (!sample) return nullptr;  // the copying will say what is wrong
  const auto alike = [&](const catalogue::FileRow& row) { return candidate(row) && row.sample == *sample; };
  auto it = std::ranges::find_if(*rows, alike);
  if (it == rows->end()) return nullptr;
  if (!confirm_) return &*it;
  const auto digest = TRY(digest_of(file));
  if (!digest) return nullptr;
  it = std::ranges::find_if(*rows, [&](const catalogue::FileRow& r) { return alike(r) && r.digest == digest; });
  return it == rows->end() ? nullptr : &*it;
}

}  // namespace everytake::pipeline
