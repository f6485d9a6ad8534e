// Pipeline::judge: everything is looked at anew; nothing of an earlier verdict is kept.
#include <set>

#include "base/parallel.h"
#include "base/text.h"
#include "card/scan.h"
#include "offload/hash.h"
#include "offload/identity.h"
#include "pipeline.h"
#include "standing.h"

namespace everytake {
namespace {

// Reads a known file whole, past the cache, and compares. Trouble with reading it is told in `seen`.
Result<void> read_whole(const ReadFs& card, const FileRow& row, FileSeen& seen, std::stop_token stop) {
  const auto reading = hash_file(card, seen.path, Cache::avoid, std::move(stop));
  if (!reading) {
    if (reading.error().code == Code::cancelled || reading.error().code == Code::gone)
      return tl::unexpected(reading.error());
    seen.trouble = reading.error().what;
  } else if (reading->digest.hex() != row.digest) {
    seen.known = FileSeen::Known::changed;
  }
  return {};
}

}  // namespace

Result<Verdict> Pipeline::judge(const Card& card, std::span<OpenDestination> destinations, bool every_byte,
                                std::stop_token stop) {
  TRY(catalogue_.check());  // a damaged one could lack the very row that says no
  CardSeen seen;
  const auto listing = TRY(scan(card.fs, stop));
  seen.troubles = listing.problems;
  // A listing that leaves a file out would hide it: the second one has to agree.
  seen.complete = listing.complete && TRY(scan(card.fs, stop)).files == listing.files;
  seen.every_byte = every_byte;
  seen.wants_two_readings = plan_.read_card_twice && !every_byte;

  const KnownFiles known(TRY(catalogue_.files_of_card(card_key(card.volume))));
  RollId latest;
  for (const auto& row : known.rows()) latest = std::max(latest, row.roll);
  for (const auto& roll : TRY(catalogue_.rolls()))
    if (roll.id == latest) seen.roll = roll.name;
  seen.vanished = known.vanished(listing);

  const Standing standing(destinations, TRY(catalogue_.destinations()));
  seen.files.resize(listing.files.size());
  const auto look = [&](std::size_t i) -> Result<void> {
    const auto& file = listing.files[i];
    const auto match = TRY(known.match(card.fs, file));
    FileSeen each{file.path, match.known, "", 0, {}};
    if (match.row) {
      each.trouble = match.row->suspect.value_or("");
      each.readings = match.row->readings;
      for (const auto& copy : match.row->copies) each.copies.push_back(standing.seen(copy));
      if (every_byte && match.row->digest) TRY(read_whole(card.fs, *match.row, each, stop));
    }
    seen.files[i] = std::move(each);
    return {};
  };
  TRY(for_each_index(listing.files.size(), look));
  return verdict(seen);
}

}  // namespace everytake
