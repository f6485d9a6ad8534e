// Pipeline::check_safe: everything is looked at anew; nothing of an earlier verdict is kept.
#include <map>

#include "base/parallel.h"
#include "card/scan.h"
#include "offload/hash.h"
#include "offload/identity.h"
#include "pipeline/copy_status.h"
#include "pipeline/on_card.h"
#include "pipeline/pipeline.h"

namespace everytake::pipeline {
namespace {

// Reads a known file whole, past the cache, and compares. Trouble with reading it is told in `seen`.
Result<void> compare_whole(const ReadFs& card, const catalogue::FileRow& row, offload::FileSeen& seen,
                           std::stop_token stop) {
  const auto reading = offload::hash_file(card, seen.path, Cache::avoid, std::move(stop));
  if (!reading) {
    if (offload::ends_card(reading.error())) return tl::unexpected(reading.error());
    seen.trouble = reading.error().what;
  } else if (reading->digest != row.digest) {
    seen.known = offload::FileSeen::Known::changed;
  } else if (seen.known == offload::FileSeen::Known::unread) {
    seen.known = offload::FileSeen::Known::equal;  // known from this reading now
  }
  return {};
}

constexpr const char* kReadsOtherwise =
    "reads otherwise now than when it was copied: offload the card again, with another reader or cable if you have one";

class SafetyCheck {
 public:
  SafetyCheck(catalogue::Catalogue& catalogue, const Plan& plan, const Card& card, bool every_byte,
              std::stop_token stop)
      : catalogue_(catalogue), plan_(plan), card_(card), every_byte_(every_byte), stop_(std::move(stop)) {}

  Result<offload::CardSeen> run(std::span<OpenDestination> destinations) {
    seen_.every_byte = every_byte_;
    seen_.wants_two_readings = plan_.read_card_twice && !every_byte_;
    seen_.beside = card_.beside;
    TRY(list());
    TRY(recognise());
    remember_differences();
    // The rest is of this very moment: nothing that takes long comes after it.
    TRY(look_at_copies(destinations));
    // A listing that leaves a file out would hide it, and files may have come: the last one has to agree.
    const auto last = TRY(card::scan(card_.fs, stop_));
    seen_.complete = seen_.complete && last.complete && last.files == listing_.files;
    return std::move(seen_);
  }

 private:
  Result<void> list() {
    listing_ = TRY(card::scan(card_.fs, stop_));
    seen_.troubles = listing_.problems;
    seen_.complete = listing_.complete;
    return {};
  }

  // Which of the files are known, by samples of them or by all their bytes.
  Result<void> recognise() {
    known_.emplace(TRY(IndexedFiles::of_card(catalogue_, offload::card_key(card_.volume))));
    for (const auto& row : known_->own()) latest_ = std::max(latest_, row.roll);
    seen_.vanished = known_->vanished(listing_);
    seen_.files.resize(listing_.files.size());
    rows_.resize(listing_.files.size());
    elsewhere_.resize(listing_.files.size());
    TRY(for_each_index(listing_.files.size(), [&](std::size_t i) { return look(i); }));
    for (const auto* row : rows_)
      if (row) latest_ = std::max(latest_, row->roll);
    for (const auto& roll : TRY(catalogue_.rolls()))
      if (roll.id == latest_) seen_.roll = roll.name;
    return {};
  }

  Result<void> look(std::size_t i) {
    const auto& file = listing_.files[i];
    const auto match = TRY(known_->match(card_.fs, file));
    offload::FileSeen each{file.path, match.known, match.trouble, 0, {}};
    if (match.row && !match.row->digest) {
      each.known = offload::FileSeen::Known::unknown;  // a visit listed it and never came to read it
    } else if (match.row) {
      if (each.trouble.empty()) each.trouble = match.row->suspect.value_or("");
      each.readings = match.row->readings;
      if (every_byte_) TRY(compare_whole(card_.fs, *match.row, each, stop_));
      rows_[i] = match.row;
      elsewhere_[i] = match.elsewhere;
    }
    seen_.files[i] = std::move(each);
    return {};
  }

  // What was seen in all its bytes must not be forgotten by the next look at a sample of them. Where it can't be noted,
  // this verdict says no all the same.
  void remember_differences() {
    for (std::size_t i = 0; i < rows_.size(); ++i) {
      if (!rows_[i] || seen_.files[i].known != offload::FileSeen::Known::changed) continue;
      if (elsewhere_[i])
        (void)catalogue_.forget_sighting(offload::card_key(card_.volume), listing_.files[i].path);
      else
        (void)catalogue_.record_trouble(rows_[i]->id, kReadsOtherwise);
    }
  }

  // What the catalogue says now: another program may have read copies back, or the card, while this one read.
  Result<void> ask_again() {
    now_.emplace(TRY(IndexedFiles::of_card(catalogue_, offload::card_key(card_.volume))));
    std::map<FileId, const catalogue::FileRow*> rows;
    for (const auto& row : now_->rows()) rows[row.id] = &row;
    for (std::size_t i = 0; i < rows_.size(); ++i) {
      if (!rows_[i]) continue;
      const auto* row = rows.at(rows_[i]->id);  // no row is ever removed
      if (row->digest != rows_[i]->digest) seen_.files[i].known = offload::FileSeen::Known::changed;
      if (seen_.files[i].trouble.empty()) seen_.files[i].trouble = row->suspect.value_or("");
      rows_[i] = row;
    }
    return {};
  }

  // All of what a yes would rest on: the copies as they stand, and whether their disks are alive.
  Result<void> look_at_copies(std::span<OpenDestination> destinations) {
    TRY(ask_again());
    CopyStatus status(plan_, destinations, TRY(catalogue_.destinations()));
    std::vector<const catalogue::FileRow*> known;
    for (const auto* row : rows_)
      if (row) known.push_back(row);
    status.ask_for_life(known, stop_);
    TRY(for_each_index(rows_.size(), [&](std::size_t i) -> Result<void> {
      if (!rows_[i]) return {};
      for (const auto& copy : rows_[i]->copies) seen_.files[i].copies.push_back(status.seen(copy, *rows_[i]));
      return {};
    }));
    for (const auto& each : destinations)
      for (auto& seen : status.destinations())
        if (seen.name == each.planned.name) seen.on_card = seen.on_card || is_on_card(each, card_);
    for (const auto& problem : TRY(catalogue_.problems_of(latest_)))
      for (auto& seen : status.destinations())
        if (seen.name == problem.destination && seen.last_visit.empty()) seen.last_visit = words_of(problem);
    seen_.destinations = status.destinations();
    return {};
  }

  static std::string words_of(const Problem& problem) {
    const auto& code = problem.code;
    if (code == ProblemCode::no_room) return "it had no room at the last visit";
    if (code == ProblemCode::destination_absent || code == ProblemCode::other_disk)
      return "it was not there at the last visit";
    if (code == ProblemCode::destination_lost) return "its disk went away during the last visit";
    if (code == ProblemCode::foreign_shoot || code == ProblemCode::cloned_mark || code == ProblemCode::bad_mark)
      return "it was refused at the last visit";
    if (code == ProblemCode::read_only) return "it could not be written at the last visit";
    return "";
  }

  catalogue::Catalogue& catalogue_;
  const Plan& plan_;
  const Card& card_;
  const bool every_byte_;
  const std::stop_token stop_;
  Listing listing_;
  RollId latest_;
  std::optional<IndexedFiles> known_, now_;
  std::vector<const catalogue::FileRow*> rows_;  // as listing_.files; nullptr: not known
  std::vector<char> elsewhere_;                  // as listing_.files: the row is another card's or folder's
  offload::CardSeen seen_;
};

}  // namespace

Result<offload::Verdict> Pipeline::check_safe(const Card& card, std::span<OpenDestination> destinations,
                                              bool every_byte, std::stop_token stop) {
  TRY(catalogue_.check());  // a damaged one could lack the very row that says no
  return offload::verdict(TRY(SafetyCheck(catalogue_, plan_, card, every_byte, std::move(stop)).run(destinations)));
}

}  // namespace everytake::pipeline
