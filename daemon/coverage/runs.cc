#include "coverage/runs.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <string_view>
#include <utility>

#include "base/text.h"

namespace everytake::coverage {
namespace {

using namespace std::chrono_literals;

constexpr Micros kSetUp = 60s;     // to find the place, place the light and start the playback: an estimate
constexpr int kMostRounds = 1000;  // more than a day holds

// What one more is worth beside others. The order of find_gaps(), in numbers.
constexpr double kFirstTake = 8, kTake = 4, kBRoll = 3, kSeconds = 2, kSlowMo = 2, kLook = 1;

double weight_of(Kind kind) {
  return kind == Kind::performance ? kTake : kind == Kind::b_roll ? kBRoll : kSlowMo;
}

// What is still missing.
struct Missing {
  struct OfSection {
    int clips[std::size(kKinds)] = {};  // by kind
    int looks = 0;
    bool has_no_take = false;
  };
  std::vector<OfSection> sections;
  std::vector<Micros> members;  // of their seconds on screen

  explicit Missing(const Coverage& coverage) {
    for (const auto& each : coverage.sections) {
      OfSection short_of;
      short_of.clips[static_cast<int>(Kind::performance)] = std::max(0, each.want.takes - each.takes);
      short_of.clips[static_cast<int>(Kind::b_roll)] = std::max(0, each.want.b_roll - each.b_roll);
      short_of.clips[static_cast<int>(Kind::slow_mo)] = std::max(0, each.want.slow_mo - each.slow_mo);
      short_of.looks = std::max(0, each.want.looks - static_cast<int>(each.looks.size()));
      short_of.has_no_take = each.takes == 0;
      sections.push_back(short_of);
    }
    for (const auto& each : coverage.members) members.push_back(std::max(0us, each.want - each.have));
  }
};

// A run that could be shot: sections first to last, at most one member where it is no performance.
struct Candidate {
  std::size_t first = 0, last = 0;
  Kind kind = Kind::performance;
  std::optional<std::size_t> member;
  auto operator<=>(const Candidate&) const = default;
};

class Chooser {
 public:
  Chooser(const Plan& plan, const Coverage& coverage) : plan_(plan), coverage_(coverage), missing_(coverage) {
    for (std::size_t first = 0; first < plan.sections.size(); ++first)
      for (std::size_t last = first; last < plan.sections.size(); ++last) add_candidates(first, last);
  }

  std::vector<Run> choose() {
    std::vector<std::pair<Candidate, Run>> chosen;
    for (int round = 0; round < kMostRounds; ++round) {
      const auto best = most_for_its_minutes();
      if (!best) break;
      auto fills = take(*best);
      const auto same = std::ranges::find(chosen, *best, &std::pair<Candidate, Run>::first);
      if (same == chosen.end())
        chosen.emplace_back(*best, run_of(*best, std::move(fills)));
      else
        add(same->second, fills);
    }
    std::vector<Run> runs;
    for (auto& [candidate, run] : chosen) {
      run.how = how_of(candidate, run);
      run.gains = gains_of(candidate, run);
      runs.push_back(std::move(run));
    }
    return runs;
  }

 private:
  bool is_on_set(std::size_t member, std::size_t section) const {
    return coverage_.members[member].sections[section].has_value();
  }

  void add_candidates(std::size_t first, std::size_t last) {
    candidates_.push_back({first, last, Kind::performance, {}});
    std::vector<std::optional<std::size_t>> throughout;  // who is on set in all of it
    for (std::size_t member = 0; member < plan_.members.size(); ++member) {
      bool everywhere = true;
      for (std::size_t i = first; i <= last; ++i) everywhere = everywhere && is_on_set(member, i);
      if (everywhere) throughout.emplace_back(member);
    }
    if (throughout.empty()) throughout.emplace_back();  // nobody in particular
    for (const Kind kind : {Kind::b_roll, Kind::slow_mo})
      for (const auto& member : throughout) candidates_.push_back({first, last, kind, member});
  }

  Span span_of(const Candidate& each) const {
    return {plan_.sections[each.first].span.start, plan_.sections[each.last].span.end};
  }
  double speed_of(Kind kind) const {
    if (kind != Kind::slow_mo || plan_.song.playback_speeds.empty()) return 1;
    return std::ranges::max(plan_.song.playback_speeds);
  }
  Micros length_of(const Candidate& each) const {
    const auto seconds = std::chrono::duration<double>(span_of(each).length()) / speed_of(each.kind);
    return std::chrono::round<Micros>(seconds);
  }
  // Played faster and slowed by as much, a stretch of the song is as long on screen as in the song.
  Micros seconds_for(const Candidate& each) const {
    return each.member ? std::min(missing_.members[*each.member], span_of(each).length()) : 0us;
  }

  double gain(const Candidate& each) const {
    double sum = 0;
    for (std::size_t i = each.first; i <= each.last; ++i) {
      const auto& section = missing_.sections[i];
      if (section.clips[static_cast<int>(each.kind)] > 0)
        sum += each.kind == Kind::performance && section.has_no_take ? kFirstTake : weight_of(each.kind);
      if (section.looks > 0) sum += kLook;
    }
    if (const auto seconds = seconds_for(each); seconds > 0us)
      sum += kSeconds * static_cast<double>(seconds.count()) /
             static_cast<double>(coverage_.members[*each.member].want.count());
    return sum;
  }

  std::optional<Candidate> most_for_its_minutes() const {
    std::optional<Candidate> best;
    double most = 0;
    for (const auto& each : candidates_) {
      const double rate = gain(each) / static_cast<double>((kSetUp + length_of(each)).count());
      if (rate <= most * (1 + 1e-9)) continue;  // of equals the first
      most = rate;
      best = each;
    }
    return best;
  }

  // Counts a run as shot and says what it filled.
  std::vector<Fill> take(const Candidate& each) {
    std::vector<Fill> fills;
    const auto seconds = seconds_for(each);
    for (std::size_t i = each.first; i <= each.last; ++i) {
      auto& section = missing_.sections[i];
      const auto& name = plan_.sections[i].name;
      if (auto& clips = section.clips[static_cast<int>(each.kind)]; clips > 0) {
        --clips;
        fills.push_back({name, each.kind, {}, 1});
      }
      if (section.looks > 0) {
        --section.looks;
        fills.push_back({name, {}, {}, 1});
      }
      section.has_no_take = section.has_no_take && each.kind != Kind::performance;
    }
    if (seconds > 0us) {
      missing_.members[*each.member] -= seconds;
      fills.push_back({{}, {}, plan_.members[*each.member].name, std::chrono::duration<double>(seconds).count()});
    }
    return fills;
  }

  Run run_of(const Candidate& each, std::vector<Fill> fills) const {
    Run run{.span = span_of(each),
            .speed = speed_of(each.kind),
            .members = {},
            .kind = each.kind,
            .fills = std::move(fills),
            .how = {},
            .gains = {}};
    for (std::size_t m = 0; m < plan_.members.size(); ++m) {
      bool here = each.member == m;
      if (each.kind == Kind::performance)
        for (std::size_t i = each.first; i <= each.last; ++i) here = here || is_on_set(m, i);
      if (here) run.members.push_back(plan_.members[m].name);
    }
    return run;
  }

  // The same run once more.
  static void add(Run& run, const std::vector<Fill>& fills) {
    ++run.times;
    for (const auto& fill : fills) {
      const auto same = std::ranges::find_if(run.fills, [&](const Fill& known) {
        return known.section == fill.section && known.kind == fill.kind && known.member == fill.member;
      });
      if (same == run.fills.end())
        run.fills.push_back(fill);
      else
        same->count += fill.count;
    }
  }

  // ---- Words ----

  std::string where(const Candidate& each, int times) const {
    const auto often = times == 1 ? std::string() : times == 2 ? "twice" : fmt::format("{} times", times);
    if (each.first == 0 && each.last + 1 == plan_.sections.size() && each.last > 0)
      return times == 1 ? "Once through" : times == 2 ? "Twice through" : fmt::format("{} times through", times);
    auto names = plan_.sections[each.first].name;
    if (each.last > each.first)
      names += (each.last == each.first + 1 ? " and " : " to ") + plan_.sections[each.last].name;
    return often.empty() ? names : names + ", " + often;
  }

  std::string who_and_how(const Candidate& each, const Run& run) const {
    std::string text;
    if (each.kind == Kind::performance) {
      const bool everybody = run.members.size() == plan_.members.size();
      if (run.members.size() > 1)
        text = everybody ? " with everybody, wide" : " with " + joined(run.members) + ", wide";
      if (run.members.size() == 1) text = ", " + run.members[0];
    } else {
      if (each.member) text = ", " + run.members[0];
      text += each.kind == Kind::b_roll ? ", b-roll" : ", slow motion";
      if (run.speed != 1) text += fmt::format(", song played at {:g} times its speed", run.speed);
    }
    const bool looks = std::ranges::any_of(run.fills, [](const Fill& fill) { return !fill.kind && !fill.member; });
    if (!looks) return text;
    return text + (run.times == 1 ? ", in another look" : ", each time in another look");
  }

  // "+1 take in all 7 sections", of a run through `sections`; empty where it brings none.
  static std::string gained(const Run& run, std::optional<Kind> kind, std::string_view noun, std::size_t sections) {
    int sum = 0, most = 0;
    std::size_t in = 0;
    for (const auto& fill : run.fills) {
      if (fill.kind != kind || fill.member) continue;
      sum += static_cast<int>(fill.count);
      most = std::max(most, static_cast<int>(fill.count));
      ++in;
    }
    if (in == 0) return "";
    const bool even = sum == most * static_cast<int>(in);  // as many in each
    const auto text = "+" + counted(static_cast<std::size_t>(even ? most : sum), noun);
    if (sections == 1) return text;
    if (in == 1) return text + " in one section";
    const auto where = in < sections ? fmt::format(" in {} sections", in)
                       : in == 2     ? std::string(" in both sections")
                                     : fmt::format(" in all {} sections", in);
    return text + where + (even ? "" : " together");
  }

  static std::string gains_of(const Candidate& each, const Run& run) {
    const auto sections = each.last - each.first + 1;
    std::string gains;
    const auto add_gain = [&](const std::string& text) {
      if (!text.empty()) gains += (gains.empty() ? "" : ", ") + text;
    };
    add_gain(gained(run, Kind::performance, "take", sections));
    add_gain(gained(run, Kind::b_roll, "b-roll clip", sections));
    add_gain(gained(run, Kind::slow_mo, "slow-mo clip", sections));
    add_gain(gained(run, {}, "look", sections));
    for (const auto& fill : run.fills)
      if (fill.member) add_gain(fmt::format("+{:.0f} s of {} on screen", std::ceil(fill.count), *fill.member));
    return gains;
  }

  std::string how_of(const Candidate& each, const Run& run) const {
    const auto lasts = std::chrono::ceil<std::chrono::seconds>(length_of(each) * run.times).count();
    return fmt::format("{}{} ({}:{:02})", where(each, run.times), who_and_how(each, run), lasts / 60, lasts % 60);
  }

  const Plan& plan_;
  const Coverage& coverage_;
  Missing missing_;
  std::vector<Candidate> candidates_;
};

}  // namespace

std::vector<Run> next_runs(const Plan& plan, const Coverage& coverage) {
  return Chooser(plan, coverage).choose();
}

}  // namespace everytake::coverage
