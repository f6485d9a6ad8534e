#include "coverage/gaps.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace everytake::coverage {
namespace {

using namespace std::chrono_literals;

struct Noun {
  const char* one;
  const char* many;
};
constexpr Noun kTake{"take", "takes"};
constexpr Noun kBRoll{"b-roll clip", "b-roll clips"};
constexpr Noun kSlowMo{"slow-mo clip", "slow-mo clips"};
constexpr Noun kLook{"look", "looks"};

std::string still_wanted(int have, int want, Noun noun) {
  const int missing = want - have;
  const char* what = missing == 1 ? noun.one : noun.many;
  return have == 0 ? fmt::format("{} {}, none yet", missing, what) : fmt::format("{} more {}", missing, what);
}

Gap section_gap(const SectionCoverage& section, std::optional<Kind> kind, int have, int want, Noun noun) {
  return {.section = section.name,
          .member = std::nullopt,
          .kind = kind,
          .have = static_cast<double>(have),
          .want = static_cast<double>(want),
          .text = section.name + ": " + still_wanted(have, want, noun)};
}

Gap member_gap(const MemberCoverage& member) {
  const auto missing = std::chrono::ceil<std::chrono::seconds>(member.want - member.have);
  return {.section = std::nullopt,
          .member = member.name,
          .kind = std::nullopt,
          .have = seconds(member.have),
          .want = seconds(member.want),
          .text = fmt::format("{}: {} s {}of b-roll or slow-mo", member.name, missing.count(),
                              member.have > 0us ? "more " : "")};
}

// Adds one class of gaps, in its own order.
void append(std::vector<Gap> more, std::vector<Gap>& gaps) {
  const auto share = [](const Gap& gap) { return (gap.want - gap.have) / gap.want; };
  std::stable_sort(more.begin(), more.end(), [&](const Gap& a, const Gap& b) { return share(a) > share(b); });
  gaps.insert(gaps.end(), more.begin(), more.end());
}

}  // namespace

std::vector<Gap> find_gaps(std::span<const SectionCoverage> sections, std::span<const MemberCoverage> members) {
  std::vector<Gap> takes, b_roll, of_members, slow_mo, looks;
  for (const auto& s : sections) {
    const int have_looks = static_cast<int>(s.looks.size());
    if (s.takes < s.want.takes) takes.push_back(section_gap(s, Kind::performance, s.takes, s.want.takes, kTake));
    if (s.b_roll < s.want.b_roll) b_roll.push_back(section_gap(s, Kind::b_roll, s.b_roll, s.want.b_roll, kBRoll));
    if (s.slow_mo < s.want.slow_mo)
      slow_mo.push_back(section_gap(s, Kind::slow_mo, s.slow_mo, s.want.slow_mo, kSlowMo));
    if (have_looks < s.want.looks) looks.push_back(section_gap(s, std::nullopt, have_looks, s.want.looks, kLook));
  }
  for (const auto& member : members)
    if (member.have < member.want) of_members.push_back(member_gap(member));
  std::vector<Gap> gaps;
  for (auto* each : {&takes, &b_roll, &of_members, &slow_mo, &looks}) append(std::move(*each), gaps);
  return gaps;
}

}  // namespace everytake::coverage
