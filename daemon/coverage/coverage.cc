#include "coverage/coverage.h"

#include <algorithm>
#include <map>
#include <set>

#include "coverage/gaps.h"

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
  std::map<std::string, const Clip*> best;
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

}  // namespace

Coverage coverage(const Plan& plan, std::span<const Clip> all) {
  const auto clips = each_once(all);
  Coverage result{.title = plan.title, .length = plan.song.length, .sections = {}, .members = {}, .gaps = {}};
  for (const auto& section : plan.sections) result.sections.push_back(section_coverage(section, plan, clips));
  for (const auto& member : plan.members) result.members.push_back(member_coverage(member, plan, clips));
  result.gaps = find_gaps(result.sections, result.members);
  for (const auto& clip : clips) result.problem_clips += !clip.facts.problems.empty();
  return result;
}

}  // namespace everytake::coverage
