#include "coverage/coverage.h"

#include <algorithm>
#include <map>
#include <set>

#include "coverage/gaps.h"
#include "coverage/in_doubt.h"

namespace everytake::coverage {
namespace {

using namespace std::chrono_literals;

template <class T>
bool contains(const std::vector<T>& all, const T& one) {
  return std::find(all.begin(), all.end(), one) != all.end();
}

// The song's stretches a clip surely holds.
std::vector<Span> spans_of(const Clip& clip) {
  return clip.placement.state == Placement::State::placed ? clip.placement.spans : std::vector<Span>{};
}

bool is_take_of(const Clip& clip, const Span& section) {
  return section.length() > 0us && covered(spans_of(clip), section) * 10 >= section.length() * 9;
}

// Takes begin some bars early and end late: that alone brings no section another look.
bool counts_in(const Clip& clip, const Section& section) {
  if (contains(clip.sections, section.name)) return true;
  if (clip.judgement.kind == Kind::performance) return is_take_of(clip, section.span);
  return holds(clip.placement, section);
}

// Of a clip that is not tagged with it, as much as its part of the song lasts there.
Micros on_screen_in(const Clip& clip, const Section& section, Rational edit_rate) {
  const auto whole = on_screen(clip, edit_rate);
  if (contains(clip.sections, section.name)) return whole.value_or(0us);
  const bool is_known = whole && *clip.facts.duration > 0us;
  const double stretched = is_known ? seconds(*whole) / seconds(*clip.facts.duration) : 1;
  return from_seconds(seconds(covered(spans_of(clip), section.span)) / pace(clip) * stretched);
}

SectionCoverage section_coverage(const Section& section, const Plan& plan, std::span<const Clip> clips) {
  SectionCoverage result{.name = section.name, .span = section.span, .want = section.want, .looks = {}};
  std::vector<Span> performed;
  std::set<std::string> looks;
  for (const auto& clip : clips) {
    const auto& kind = clip.judgement.kind;
    if (!kind) continue;
    if (kind == Kind::performance) {
      const auto spans = spans_of(clip);
      performed.insert(performed.end(), spans.begin(), spans.end());
      result.takes += is_take_of(clip, section.span);
    }
    if (!counts_in(clip, section)) continue;
    if (clip.look) looks.insert(*clip.look);
    if (kind == Kind::b_roll) {
      ++result.b_roll;
      result.b_roll_length += on_screen_in(clip, section, plan.frame_rate);
    } else if (kind == Kind::slow_mo) {
      ++result.slow_mo;
      result.slow_mo_length += on_screen_in(clip, section, plan.frame_rate);
    }
  }
  result.covered = covered(std::move(performed), section.span);
  result.looks.assign(looks.begin(), looks.end());
  return result;
}

MemberCoverage member_coverage(const Member& member, const Plan& plan, std::span<const Clip> clips) {
  MemberCoverage result{.name = member.name, .kinds = {}, .sections = {}};
  for (const Kind kind : kKinds) result.kinds[kind];
  std::vector<const Clip*> tagged;
  for (const auto& clip : clips) {
    if (!clip.judgement.kind || !contains(clip.members, member.name)) continue;
    tagged.push_back(&clip);
    auto& share = result.kinds[*clip.judgement.kind];
    ++share.clips;
    share.on_screen += on_screen(clip, plan.frame_rate).value_or(0us);
  }
  result.have = result.kinds[Kind::b_roll].on_screen + result.kinds[Kind::slow_mo].on_screen;
  bool on_set = plan.sections.empty();
  for (const auto& section : plan.sections) {
    const bool here = contains(section.members, member.name);
    on_set |= here;
    const auto clips_here =
        std::count_if(tagged.begin(), tagged.end(), [&](const Clip* clip) { return counts_in(*clip, section); });
    result.sections.push_back(here ? std::optional(static_cast<int>(clips_here)) : std::nullopt);
  }
  if (on_set) result.want = plan.member_seconds;
  return result;
}

// How much was said of a clip.
std::size_t marks_of(const Clip& clip) {
  return clip.members.size() + clip.sections.size() + clip.look.has_value() + clip.angle.has_value() +
         clip.note.has_value() + clip.rating.has_value();
}

// Each recording once, however many copies of it were offloaded: the one of which most was said, else the oldest.
std::vector<Clip> each_once(std::span<const Clip> clips) {
  std::map<Digest, const Clip*> best;
  const auto is_better = [](const Clip& a, const Clip& b) {
    return marks_of(a) != marks_of(b) ? marks_of(a) > marks_of(b) : a.id < b.id;
  };
  for (const auto& clip : clips) {
    if (!clip.digest) continue;
    auto& known = best[*clip.digest];
    if (!known || is_better(clip, *known)) known = &clip;
  }
  std::vector<Clip> once;
  for (const auto& clip : clips)
    if (!clip.digest || best.at(*clip.digest) == &clip) once.push_back(clip);
  return once;
}

// What of `all` would not be counted if only sound clips were.
Doubt doubt_between(const SectionCoverage& all, const SectionCoverage& sure) {
  return {.takes = all.takes - sure.takes,
          .b_roll = all.b_roll - sure.b_roll,
          .slow_mo = all.slow_mo - sure.slow_mo,
          .looks = static_cast<int>(all.looks.size() - sure.looks.size()),
          .covered = all.covered != sure.covered};
}

// nullopt for a clip whose picture is well, and for one that counts nowhere.
std::optional<ClipInDoubt> in_doubt(const Clip& clip, const Plan& plan, std::span<const SectionCoverage> sections) {
  ClipInDoubt doubtful{
      .clip = clip.roll + "/" + clip.name, .codes = picture_problems(clip), .sections = {}, .members = {}, .text = {}};
  if (!clip.judgement.kind || doubtful.codes.empty()) return std::nullopt;
  doubtful.kind = *clip.judgement.kind;
  for (std::size_t i = 0; i < sections.size(); ++i) {
    const auto& section = plan.sections[i];
    const bool covers = doubtful.kind == Kind::performance && covered(spans_of(clip), section.span) > 0us;
    if (counts_in(clip, section) || (covers && sections[i].in_doubt.covered)) doubtful.sections.push_back(section.name);
  }
  for (const auto& member : plan.members)
    if (contains(clip.members, member.name)) doubtful.members.push_back(member.name);
  if (doubtful.sections.empty() && doubtful.members.empty()) return std::nullopt;
  doubtful.text = text_of(doubtful);
  return doubtful;
}

std::vector<ClipInDoubt> all_in_doubt(std::span<const Clip> clips, const Plan& plan,
                                      std::span<const SectionCoverage> sections) {
  std::vector<ClipInDoubt> all;
  for (const auto& clip : clips)
    if (auto doubtful = in_doubt(clip, plan, sections)) all.push_back(std::move(*doubtful));
  std::stable_sort(all.begin(), all.end(), [](const ClipInDoubt& a, const ClipInDoubt& b) { return a.clip < b.clip; });
  return all;
}

}  // namespace

Coverage coverage(const Plan& plan, std::span<const Clip> all) {
  const auto clips = each_once(all);
  auto sure = clips;
  std::erase_if(sure, [](const Clip& clip) { return !picture_problems(clip).empty(); });
  Coverage result{.title = plan.title, .length = plan.song.length, .sections = {}, .members = {}, .gaps = {}};
  for (const auto& section : plan.sections) {
    result.sections.push_back(section_coverage(section, plan, clips));
    result.sections.back().in_doubt = doubt_between(result.sections.back(), section_coverage(section, plan, sure));
  }
  for (const auto& member : plan.members) {
    result.members.push_back(member_coverage(member, plan, clips));
    result.members.back().in_doubt = result.members.back().have - member_coverage(member, plan, sure).have;
  }
  result.gaps = find_gaps(result.sections, result.members);
  result.in_doubt = all_in_doubt(clips, plan, result.sections);
  for (const auto& clip : clips) result.problem_clips += !clip.facts.problems.empty();
  return result;
}

}  // namespace everytake::coverage
