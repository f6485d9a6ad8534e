#include "media/checks.h"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <map>
#include <utility>

#include "base/text.h"
#include "media/gamma.h"

namespace everytake::media {
namespace {

using namespace std::chrono_literals;

constexpr std::size_t kFewest = 3;      // neighbours that can make a habit
constexpr double kNearlyAll = 0.8;      // of them
constexpr double kMuchClipped = 0.001;  // share of samples: a snare that overshoots now and then stays below
constexpr Micros kShortest = 1s;

std::optional<Rational> captured_at(const ClipFacts& facts) {
  return facts.capture_rate ? facts.capture_rate : facts.frame_rate;
}

bool is_fast(const ClipFacts& facts, Rational edit_rate) {
  const auto rate = captured_at(facts);
  return rate && !(*rate < edit_rate * Rational(3, 2));
}

bool is_retimed(const ClipFacts& facts) {
  return facts.capture_rate && facts.frame_rate && *facts.capture_rate != *facts.frame_rate;
}

bool has(const Clip& clip, ProblemCode code) {
  const auto& problems = clip.facts.problems;
  return std::any_of(problems.begin(), problems.end(), [code](const Problem& each) { return each.code == code; });
}

// One curve may have several names: the wish for "s-log3" is met by "s-log3-cine" too, whose end names the gamut.
bool meets(const std::string& gamma, const std::string& wanted) {
  const auto have = lower_case(gamma), want = lower_case(wanted);
  if (have == want || have.starts_with(want + "-")) return true;
  const auto *a = curve_of(have), *b = curve_of(want);
  return a && b && a->encode == b->encode && std::string_view(a->gamut) == b->gamut;
}

using Size = std::pair<int, int>;  // the longer side first: a camera can be turned

std::optional<Size> size_of(const ClipFacts& facts) {
  if (!facts.width || !facts.height) return std::nullopt;
  return Size(std::max(*facts.width, *facts.height), std::min(*facts.width, *facts.height));
}

// How often each value came.
template <class T>
class Counts {
 public:
  void add(const std::optional<T>& value) {
    if (value) ++counts_[*value], ++total_;
  }
  // What nearly all have, beside one that has `own`.
  std::optional<T> usual_beside(const std::optional<T>& own) const {
    const auto total = total_ - own.has_value();
    for (const auto& [value, count] : counts_)
      if (total >= kFewest && static_cast<double>(count - (value == own)) >= kNearlyAll * static_cast<double>(total))
        return value;
    return std::nullopt;
  }

 private:
  std::map<T, std::size_t> counts_;
  std::size_t total_ = 0;
};

// What neighbours have in common: counted once for all clips, so that looking at each costs no look at all others.
class Habits {
 public:
  struct Group {  // of neighbours
    Counts<std::string> gammas;
    // By capture rate: cameras have smaller pictures at high ones.
    std::map<std::optional<Rational>, Counts<Size>> sizes;
    std::size_t heard = 0, unheard = 0;  // at normal speed, where it is known
  };

  Habits(std::span<const Clip> all, Rational edit_rate) {
    for (const auto& clip : all) {
      const auto& facts = clip.facts;
      auto& group = groups_[key_of(clip)];
      group.gammas.add(facts.gamma);
      group.sizes[captured_at(facts)].add(size_of(facts));
      if (!facts.audio || is_fast(facts, edit_rate)) continue;
      ++(has_sound(facts) ? group.heard : group.unheard);
      heard_ += has_sound(facts);
    }
  }
  // The clip's own, itself included.
  const Group& of(const Clip& clip) const { return groups_.at(key_of(clip)); }
  std::size_t heard() const { return heard_; }  // of all groups

 private:
  using Key = std::pair<std::optional<std::string>, std::string>;  // a camera, else a roll
  static Key key_of(const Clip& clip) { return {clip.facts.camera, clip.facts.camera ? "" : clip.roll}; }

  std::map<Key, Group> groups_;
  std::size_t heard_ = 0;
};

// One clip beside the others and the plan.
class Checks {
 public:
  Checks(const Clip& clip, const Habits& habits, const Plan& plan)
      : clip_(clip),
        facts_(clip.facts),
        habits_(habits),
        group_(habits.of(clip)),
        plan_(plan),
        name_(shown(clip.path.filename().string())) {}

  std::vector<Problem> found() && {
    gamma();
    rate();
    size();
    length();
    picture();
    sound();
    return std::move(found_);
  }

 private:
  void add(ProblemCode code, const std::string& message) {
    found_.push_back({code, clip_.path.string(), "", name_ + " " + message});
  }

  void gamma() {
    const auto& have = facts_.gamma;
    const auto from = facts_.origin.find("gamma");
    if (!have || (from != facts_.origin.end() && from->second == "plan")) return;
    if (plan_.gamma) {
      if (!meets(*have, *plan_.gamma))
        add(ProblemCode::other_gamma,
            fmt::format("is shot in {}, the plan wants {}: set the camera to it and shoot this again", shown(*have),
                        shown(*plan_.gamma)));
      return;
    }
    const auto others = group_.gammas.usual_beside(have);
    if (others && !meets(*have, *others))
      add(ProblemCode::other_gamma,
          fmt::format("is shot in {}, nearly all else of its camera in {}: set it back, and shoot this "
                      "again if that was no intent",
                      shown(*have), shown(*others)));
  }

  void rate() {
    const auto& rate = facts_.frame_rate;
    if (!rate || *rate == plan_.frame_rate || is_fast(facts_, plan_.frame_rate) ||
        has(clip_, ProblemCode::variable_rate))
      return;
    add(ProblemCode::other_rate,
        fmt::format("plays at {} frames a second, the edit runs at {}, so it will stutter there: set the camera to it "
                    "and shoot this again",
                    rate_text(*rate), rate_text(plan_.frame_rate)));
  }

  void size() {
    const auto own = size_of(facts_), others = group_.sizes.at(captured_at(facts_)).usual_beside(own);
    if (!own || !others || *own == *others) return;
    add(ProblemCode::other_size,
        fmt::format("is {}x{}, nearly all else of its camera {}x{}: set the picture size back, and shoot "
                    "this again if that was no intent",
                    own->first, own->second, others->first, others->second));
  }

  void length() {
    if (!facts_.duration || *facts_.duration >= kShortest) return;
    if (facts_.frames && static_cast<double>(*facts_.frames) >= plan_.frame_rate.value()) return;
    add(ProblemCode::too_short,
        fmt::format("is only {:.2f} s long: was the button pressed twice? Shoot it again if it was meant",
                    seconds(*facts_.duration)));
  }

  void picture() {
    if (!facts_.frames_seen || !facts_.width) return;  // why there is no picture is said already
    if (facts_.frames_seen->frames == 0)
      add(ProblemCode::no_frames,
          "has a picture of which no frame can be decoded: play it on the camera, and shoot it again where "
          "that fails too");
    else if (facts_.frames_seen->black == facts_.frames_seen->frames)
      add(ProblemCode::black_picture,
          "is black wherever it was looked at: take the lens cap off, or open the iris, and shoot it "
          "again");
  }

  // Whether this camera is one that takes no sound, beside another that does.
  bool is_of_silent_camera() const { return group_.heard == 0 && group_.unheard >= kFewest && habits_.heard() > 0; }

  void sound() {
    const auto& levels = facts_.levels;
    if (!facts_.frame_rate || is_fast(facts_, plan_.frame_rate) || is_retimed(facts_)) return;
    if (facts_.audio == false && !is_of_silent_camera())
      add(ProblemCode::no_sound,
          "has no sound, so its place in the song can't be heard: check the camera's microphone and audio "
          "setting, then shoot it again or place it by hand");
    if (facts_.audio != true || !levels) return;
    if (levels->samples == 0)
      add(ProblemCode::sound_unreadable,
          "has sound that can't be decoded, so its place in the song can't be heard: play it on the "
          "camera, then shoot it again or place it by hand");
    else if (is_silent(*levels) && !is_of_silent_camera())
      add(ProblemCode::silent_sound,
          "has a silent sound track, so its place in the song can't be heard: is the microphone on and "
          "plugged in? Shoot it again, or place it by hand");
    else if (levels->clipped > kMuchClipped)
      add(ProblemCode::clipped_sound,
          fmt::format("has sound that is clipped ({:.1f} % of it at full scale): turn the recording "
                      "level down, and shoot it again if its sound is wanted",
                      levels->clipped * 100));
  }

  const Clip& clip_;
  const ClipFacts& facts_;
  const Habits& habits_;
  const Habits::Group& group_;
  const Plan& plan_;
  const std::string name_;
  std::vector<Problem> found_;
};

}  // namespace

std::vector<Problem> checks_of(const Clip& clip, std::span<const Clip> all, const Plan& plan) {
  return Checks(clip, Habits(all, plan.frame_rate), plan).found();
}

void add_checks(std::vector<Clip>& clips, const Plan& plan) {
  const Habits habits(clips, plan.frame_rate);
  for (auto& clip : clips) {
    auto found = Checks(clip, habits, plan).found();
    auto& problems = clip.facts.problems;
    problems.insert(problems.end(), std::move_iterator(found.begin()), std::move_iterator(found.end()));
  }
}

}  // namespace everytake::media
