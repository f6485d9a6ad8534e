#include "pipeline/visit_files.h"

#include <set>

#include "base/parallel.h"
#include "offload/identity.h"

namespace everytake::pipeline {
namespace {

// By their paths here.
Result<void> match_paths(const ReadFs& card, const Listing& listing, VisitFiles& files) {
  files.all.resize(listing.files.size());
  return for_each_index(files.all.size(), [&](std::size_t i) -> Result<void> {
    const auto& file = listing.files[i];
    auto match = TRY(files.known.match(card, file));
    const bool is_read = match.known == offload::FileSeen::Known::equal;
    files.all[i] = {file, match.row, match.elsewhere, is_read, std::move(match.trouble), {}, {}};
    return {};
  });
}

// By their bytes. With `doubt` those that were met so before are read again.
Result<std::vector<catalogue::Sighting>> match_bytes(VisitFiles& files, bool doubt) {
  std::vector<catalogue::Sighting> sightings;
  for (auto& each : files.all) {
    // What is another card's is never doubted for this one's sake: it is this file no more.
    if (each.elsewhere && doubt && !TRY(files.kept.is_still(each.file, *each.row)))
      each.row = nullptr, each.elsewhere = each.is_read = false;
    if (each.row) continue;
    each.row = TRY(files.kept.find(each.file));
    if (!each.row) continue;
    each.elsewhere = each.is_read = true;
    sightings.push_back({each.row->id, each.file, {}});
  }
  return sightings;
}

// Files of another card's roll are worked on here: nobody else may do so meanwhile.
Result<std::vector<CardLock>> take_others_cards(const CopyContext& context, const std::string& own,
                                                const std::vector<VisitFile>& files) {
  std::set<RollId> rolls;
  for (const auto& file : files)
    if (file.elsewhere) rolls.insert(file.row->roll);
  std::vector<CardLock> locks;
  std::set<std::string> cards{own};
  for (const auto& roll : TRY(context.catalogue.rolls()))
    if (rolls.contains(roll.id) && cards.insert(roll.card).second)
      locks.push_back(TRY(CardLock::take(context.catalogue, roll.card, context.clock)));
  return locks;
}

}  // namespace

Result<VisitFiles> recognise_files(const CopyContext& context, const Card& card, const Listing& listing,
                                   const IngestOptions& options) {
  const auto key = offload::card_key(card.volume);
  VisitFiles files{TRY(IndexedFiles::of_card(context.catalogue, key)),
                   KeptBefore(context.catalogue, card.fs, listing, !options.dry_run, context.stop),
                   {},
                   {}};
  TRY(match_paths(card.fs, listing, files));
  const auto sightings = TRY(match_bytes(files, options.read_twice && !options.dry_run));
  if (options.dry_run) return files;
  files.locks = TRY(take_others_cards(context, key, files.all));
  TRY(context.catalogue.record_sightings(key, sightings));
  return files;
}

}  // namespace everytake::pipeline
