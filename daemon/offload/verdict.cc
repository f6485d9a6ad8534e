#include "offload/verdict.h"

#include <fmt/format.h>

#include <algorithm>
#include <set>

#include "base/text.h"

namespace everytake {
namespace {

using Reason = Verdict::Reason;

constexpr std::size_t kEnoughCopies = 2;

std::string at(const CopySeen& copy) {
  return fmt::format("the copy at \"{}\"", shown(copy.destination));
}

// Why this copy does not count now; nullopt when it does.
std::optional<Reason> against(const Path& path, const CopySeen& copy) {
  const auto no = [&](const char* code, const std::string& message) { return Reason{code, path, message}; };
  if (copy.state == CopyState::failed) return no("unverified_copy", at(copy) + " failed");
  if (copy.state != CopyState::verified) {
    const bool unproven = copy.state == CopyState::copied;
    return no("unverified_copy",
              at(copy) + (unproven ? " was read back from memory, not shown to be on the disk" : " is not made yet"));
  }
  if (copy.evidence == Evidence::cached && !copy.accept_cached)
    return no("unverified_copy", at(copy) + " was read back from memory, not shown to be on the disk");
  switch (copy.now) {
    case CopySeen::Now::unchanged:
      return std::nullopt;
    case CopySeen::Now::missing:
      return no("missing_copy", at(copy) + " is gone");
    case CopySeen::Now::changed:
      return no("copy_changed", at(copy) + " was changed since it was verified");
    case CopySeen::Now::absent:
      return no("destination_absent", fmt::format("\"{}\" is not connected", shown(copy.destination)));
  }
  return std::nullopt;
}

// Disks that are not known may be one and the same.
std::size_t count_disks(const std::vector<const CopySeen*>& copies) {
  std::set<std::string> disks;
  for (const auto* copy : copies) disks.insert(copy->disk);
  return disks.size();
}

void judge_copies(const FileSeen& file, Verdict& verdict) {
  std::vector<const CopySeen*> good;
  std::vector<Reason> bad;
  for (const auto& copy : file.copies) {
    auto reason = against(file.path, copy);
    if (reason)
      bad.push_back(std::move(*reason));
    else
      good.push_back(&copy);
  }
  if (good.size() < kEnoughCopies) {
    if (file.copies.size() < kEnoughCopies)
      bad.push_back({"too_few_copies", file.path, fmt::format("{} of 2 copies", good.size())});
    verdict.reasons.insert(verdict.reasons.end(), bad.begin(), bad.end());
    return;
  }
  if (count_disks(good) < kEnoughCopies) {
    const auto& disk = good.front()->disk;
    verdict.reasons.push_back({"same_disk", file.path,
                               disk.empty() ? "it can't be seen that its copies are on two disks"
                                            : fmt::format("all its copies are on one disk ({})", shown(disk))});
    return;
  }
  for (const auto* copy : good) {
    if (std::find(verdict.destinations.begin(), verdict.destinations.end(), copy->destination) ==
        verdict.destinations.end())
      verdict.destinations.push_back(copy->destination);
    if (copy->verified_at && (!verdict.oldest_read_back || *copy->verified_at < *verdict.oldest_read_back))
      verdict.oldest_read_back = copy->verified_at;
    verdict.rests_on_cached = verdict.rests_on_cached || copy->evidence == Evidence::cached;
  }
}

void judge_file(const FileSeen& file, bool wants_two_readings, Verdict& verdict) {
  if (file.known == FileSeen::Known::unknown) {
    verdict.reasons.push_back({"new_file", file.path, "is not copied yet"});
    return;
  }
  if (file.known == FileSeen::Known::changed) {
    verdict.reasons.push_back({"changed_file", file.path, "is not the file that was copied"});
    return;
  }
  if (!file.trouble.empty()) {
    verdict.reasons.push_back({"read_problem", file.path, file.trouble});
    return;
  }
  if (wants_two_readings && file.readings < 2)
    verdict.reasons.push_back({"read_problem", file.path, "the plan wants a second reading of the card"});
  judge_copies(file, verdict);
}

// Its sentence without the file it is about, which a reason names by itself.
std::string without_name(const Problem& problem) {
  const auto name = shown(problem.path) + ": ";
  return problem.message.starts_with(name) ? problem.message.substr(name.size()) : problem.message;
}

}  // namespace

Verdict verdict(const CardSeen& card) {
  Verdict verdict;
  verdict.roll = card.roll;
  verdict.every_byte = card.every_byte;
  verdict.files = card.files.size();
  if (!card.complete) verdict.reasons.push_back({"read_problem", {}, "the card could not be read completely"});
  for (const auto& trouble : card.troubles)
    verdict.reasons.push_back({"read_problem", trouble.path, without_name(trouble)});
  if (card.files.empty()) {
    verdict.reasons.push_back({"not_offloaded", {}, "there is no file on it to speak of"});
    return verdict;
  }
  if (card.roll.empty()) {
    verdict.reasons.push_back({"not_offloaded", {}, "this card was not offloaded"});
    return verdict;
  }
  for (const auto& path : card.vanished)
    verdict.reasons.push_back({"changed_file", path, "was on the card when it was offloaded and is not now"});
  verdict.readings = INT32_MAX;
  for (const auto& file : card.files) {
    judge_file(file, card.wants_two_readings, verdict);
    verdict.readings = std::min(verdict.readings, file.readings + (card.every_byte ? 1 : 0));
  }
  verdict.safe = verdict.reasons.empty();
  return verdict;
}

std::vector<std::string> grounds(const Verdict& yes) {
  const char* times = yes.readings >= 2 ? "twice" : "once";
  std::vector<std::string> lines{yes.every_byte
                                     ? fmt::format("the card's bytes read {}, the last time just now", times)
                                     : fmt::format("the card's bytes read {}, its list compared just now", times)};
  if (yes.rests_on_cached) lines.emplace_back("the plan accepts a read-back that can't be shown to come from the disk");
  return lines;
}

}  // namespace everytake
