#include "offload/verdict.h"

#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <set>
#include <tuple>

#include "base/text.h"

namespace everytake::offload {
namespace {

using Reason = Verdict::Reason;

constexpr std::size_t kEnoughCopies = 2;
constexpr std::size_t kFilesApart = 3;  // more that say the same of a destination are told together

std::string at(const DestinationSeen& destination) {
  return fmt::format("the copy at \"{}\"", shown(destination.name));
}

bool is_memory(const DestinationSeen& destination) {
  return destination.disks.names.contains("memory");
}

// The disks it counts as: what is known, else those that the person's word makes its own.
Disks disks_of(const DestinationSeen& destination) {
  if (destination.disks.known || !destination.own_disk) return destination.disks;
  auto disks = destination.disks;
  disks.names.insert("the disk of " + destination.name);
  disks.known = true;
  return disks;
}

// Why nothing at this destination counts now; nullopt when it may.
std::optional<Reason> against(const DestinationSeen& destination) {
  const auto no = [&](ReasonCode code, const std::string& message) {
    return Reason{code, {}, message, destination.name};
  };
  if (!destination.trouble.empty()) return no(ReasonCode::destination_absent, destination.trouble);
  if (destination.on_card)
    return no(ReasonCode::same_disk, fmt::format("\"{}\" is on this very card", shown(destination.name)));
  if (is_memory(destination) && !destination.accept_cached)
    return no(ReasonCode::unverified_copy, at(destination) + " is in memory, not on a disk");
  return std::nullopt;
}

// Why this copy does not count now; nullopt when it does.
std::optional<Reason> against(const CopySeen& copy, const DestinationSeen& destination) {
  const auto no = [&](ReasonCode code, const std::string& message) {
    return Reason{code, {}, message, destination.name};
  };
  constexpr const char* kFromMemory = " was read back from memory, not shown to be on the disk";
  if (copy.state == CopyState::failed) return no(ReasonCode::unverified_copy, at(destination) + " failed");
  if (copy.state == CopyState::copied)
    return no(ReasonCode::unverified_copy, at(destination) + " is not read back yet");
  if (copy.state != CopyState::verified) return no(ReasonCode::unverified_copy, at(destination) + " is not made yet");
  if (!copy.is_the_file)
    return no(ReasonCode::unverified_copy, at(destination) + " has other bytes than the card gave last");
  if (copy.evidence == Evidence::cached && !destination.accept_cached)
    return no(ReasonCode::unverified_copy, at(destination) + kFromMemory);
  switch (copy.now) {
    case CopySeen::Now::unchanged:
      return against(destination);
    case CopySeen::Now::missing:
      return no(ReasonCode::missing_copy, at(destination) + " is gone");
    case CopySeen::Now::changed:
      return no(ReasonCode::copy_changed, at(destination) + " was changed since it was verified");
    case CopySeen::Now::absent:
      return no(ReasonCode::destination_absent, destination.trouble.empty()
                                                    ? fmt::format("\"{}\" can't be looked at", shown(destination.name))
                                                    : destination.trouble);
  }
  return std::nullopt;
}

// A sentence without the file it is about, which a reason names by itself.
std::string without_name(const std::string& sentence, const std::string& path) {
  const auto name = shown(path) + ": ";
  return sentence.starts_with(name) ? sentence.substr(name.size()) : sentence;
}

// Looks at one file after the other and remembers what a yes would rest on.
class Judging {
 public:
  explicit Judging(const CardSeen& card, Verdict& verdict) : card_(card), verdict_(verdict) {
    for (const auto& each : card.destinations) disks_.push_back(disks_of(each));
    holds_all_.assign(card.destinations.size(), true);
  }

  void look(const FileSeen& file) {
    const auto no = [&](ReasonCode code, const std::string& message) { add({code, file.path, message}); };
    if (file.known == FileSeen::Known::unknown) return no(ReasonCode::new_file, "is not copied yet");
    if (file.known == FileSeen::Known::changed) return no(ReasonCode::changed_file, "is not the file that was copied");
    if (!file.trouble.empty()) return no(ReasonCode::read_problem, without_name(file.trouble, file.path.string()));
    if (file.known == FileSeen::Known::unread)
      return no(ReasonCode::read_problem,
                "is known by its copies alone, not from the card: offload the card once more");
    if (card_.wants_two_readings && file.readings < 2)
      no(ReasonCode::read_problem, "the plan wants a second reading of the card");
    look_at_copies(file);
    verdict_.readings = std::min(verdict_.readings, file.readings + (card_.every_byte ? 1 : 0));
  }

  void name_grounds() {
    std::vector<std::size_t> named;
    for (const auto index : used_)
      if (holds_all_[index]) named.push_back(index);
    verdict_.in_several = !has_two(named);
    if (verdict_.in_several) named.assign(used_.begin(), used_.end());
    for (const auto index : named) {
      const auto& destination = card_.destinations[index];
      verdict_.destinations.push_back(destination.name);
      if (destination.own_disk && !destination.disks.known) verdict_.words.push_back(destination.name);
    }
  }

  // Many files of which the same is said of a destination become one reason.
  std::vector<Reason> reasons() const {
    std::map<std::tuple<ReasonCode, std::string, std::string>, std::size_t> alike;
    const auto key = [](const Reason& r) { return std::tuple(r.code, r.destination, r.message); };
    for (const auto& each : reasons_) ++alike[key(each)];
    std::vector<Reason> told;
    for (const auto& each : reasons_) {
      auto& count = alike[key(each)];
      if (each.destination.empty() || (count <= kFilesApart && count > 0)) {
        told.push_back(each);
        continue;
      }
      if (count == 0) continue;  // told already
      told.push_back(
          {each.code, {}, fmt::format("{}: {}", counted(count, "file"), each.message), each.destination, count});
      count = 0;
    }
    return told;
  }

 private:
  void add(Reason reason) { reasons_.push_back(std::move(reason)); }

  bool has_two(const std::vector<std::size_t>& destinations) const {
    for (const auto a : destinations)
      for (const auto b : destinations)
        if (a < b && apart(disks_[a], disks_[b])) return true;
    return false;
  }

  void look_at_copies(const FileSeen& file) {
    std::vector<std::size_t> good;
    std::vector<Reason> bad;
    std::vector<bool> here(card_.destinations.size(), false);
    for (const auto& copy : file.copies) {
      const auto& destination = card_.destinations[copy.destination];
      if (auto reason = against(copy, destination)) {
        reason->path = file.path;
        bad.push_back(std::move(*reason));
        continue;
      }
      good.push_back(copy.destination);
      here[copy.destination] = true;
    }
    if (good.size() < kEnoughCopies) return too_few(file, good.size(), std::move(bad));
    if (!has_two(good)) return on_one_disk(file, good);
    for (std::size_t i = 0; i < here.size(); ++i) holds_all_[i] = holds_all_[i] && here[i];
    for (const auto& copy : file.copies) {
      if (!here[copy.destination]) continue;
      used_.insert(copy.destination);
      const auto& oldest = verdict_.oldest_read_back;
      if (copy.verified_at && (!oldest || *copy.verified_at < *oldest)) verdict_.oldest_read_back = copy.verified_at;
      verdict_.rests_on_cached = verdict_.rests_on_cached || copy.evidence == Evidence::cached;
    }
  }

  void too_few(const FileSeen& file, std::size_t good, std::vector<Reason> bad) {
    for (auto& reason : bad) add(std::move(reason));
    if (file.copies.size() >= kEnoughCopies) return;
    bool told = false;
    for (std::size_t i = 0; i < card_.destinations.size(); ++i) {
      const auto& destination = card_.destinations[i];
      if (!destination.wanted ||
          std::ranges::any_of(file.copies, [&](const auto& copy) { return copy.destination == i; }))
        continue;
      const auto why = destination.last_visit.empty() ? "" : ": " + destination.last_visit;
      add({ReasonCode::too_few_copies, file.path, fmt::format("no copy at \"{}\"{}", shown(destination.name), why),
           destination.name});
      told = true;
    }
    if (!told) add({ReasonCode::too_few_copies, file.path, fmt::format("{} of 2 copies", good)});
  }

  void on_one_disk(const FileSeen& file, const std::vector<std::size_t>& good) {
    const auto unknown =
        std::ranges::find_if(good, [&](auto i) { return !disks_[i].known || disks_[i].names.empty(); });
    if (unknown == good.end())
      return add(
          {ReasonCode::same_disk, file.path,
           fmt::format("all its copies are on one disk ({})", disks_text(card_.destinations[good.front()].disks))});
    const auto& name = card_.destinations[*unknown].name;
    add({ReasonCode::same_disk, file.path,
         fmt::format("it can't be seen that its copies are on two disks: where \"{}\" has a disk of its own, write "
                     "own_disk = true to it in the plan",
                     shown(name))});
  }

  const CardSeen& card_;
  Verdict& verdict_;
  std::vector<Disks> disks_;  // by destination
  std::vector<bool> holds_all_;
  std::set<std::size_t> used_;
  std::vector<Reason> reasons_;
};

}  // namespace

const char* to_string(ReasonCode code) {
  switch (code) {
    case ReasonCode::not_offloaded:
      return "not_offloaded";
    case ReasonCode::new_file:
      return "new_file";
    case ReasonCode::changed_file:
      return "changed_file";
    case ReasonCode::missing_copy:
      return "missing_copy";
    case ReasonCode::unverified_copy:
      return "unverified_copy";
    case ReasonCode::copy_changed:
      return "copy_changed";
    case ReasonCode::same_disk:
      return "same_disk";
    case ReasonCode::destination_absent:
      return "destination_absent";
    case ReasonCode::read_problem:
      return "read_problem";
    case ReasonCode::too_few_copies:
      return "too_few_copies";
  }
  return "";
}

Verdict verdict(const CardSeen& card) {
  Verdict verdict;
  verdict.roll = card.roll;
  verdict.every_byte = card.every_byte;
  verdict.files = card.files.size();
  verdict.beside = card.beside;
  auto& reasons = verdict.reasons;
  if (!card.complete)
    reasons.push_back(
        {ReasonCode::read_problem, {}, "the card could not be read completely, or changed while it was looked at"});
  for (const auto& trouble : card.troubles)
    reasons.push_back({ReasonCode::read_problem, trouble.path, without_name(trouble.message, trouble.path)});
  if (card.files.empty()) {
    reasons.push_back({ReasonCode::not_offloaded, {}, "there is no file on it"});
    return verdict;
  }
  if (card.roll.empty()) {
    reasons.push_back({ReasonCode::not_offloaded, {}, "this card was not offloaded"});
    return verdict;
  }
  for (const auto& path : card.vanished)
    reasons.push_back(
        {ReasonCode::changed_file, path, "was on the card at its last visit and is not now; its copies stay"});
  verdict.readings = INT32_MAX;
  Judging judging(card, verdict);
  for (const auto& file : card.files) judging.look(file);
  std::ranges::move(judging.reasons(), std::back_inserter(reasons));
  verdict.safe = reasons.empty();
  if (verdict.safe) judging.name_grounds();
  return verdict;
}

std::vector<std::string> grounds(const Verdict& yes) {
  const char* times = yes.readings >= 2 ? "twice" : "once";
  std::vector<std::string> lines{yes.every_byte
                                     ? fmt::format("the card's bytes read {}, the last time just now", times)
                                     : fmt::format("the card's bytes read {}, its list compared just now", times)};
  if (yes.in_several) lines.emplace_back("no two of them hold every file: each file is on two of them");
  for (const auto& name : yes.words)
    lines.push_back(fmt::format("that \"{}\" has a disk of its own is the plan's word: it can't be seen", shown(name)));
  if (yes.rests_on_cached) lines.emplace_back("the plan accepts a read-back that can't be shown to come from the disk");
  if (!yes.beside.empty())
    lines.push_back("it says nothing of what else is on this card: " + shown(joined(yes.beside)));
  return lines;
}

}  // namespace everytake::offload
