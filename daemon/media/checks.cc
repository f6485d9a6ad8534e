#include "media/checks.h"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <map>
#include <type_traits>

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

// One clip beside the others and the plan.
class Checks {
 public:
  Checks(const Clip& clip, std::span<const Clip> all, const Plan& plan)
      : clip_(clip), facts_(clip.facts), all_(all), plan_(plan), name_(shown(clip.path.filename().string())) {}

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

  bool is_neighbour(const Clip& other) const {
    return &other != &clip_ && other.facts.camera == facts_.camera && (facts_.camera || other.roll == clip_.roll);
  }

  // What nearly all neighbours have; `value_of` gives nullopt for those that don't count.
  template <class ValueOf>
  std::invoke_result_t<ValueOf, const Clip&> usual(ValueOf value_of) const {
    std::map<typename std::invoke_result_t<ValueOf, const Clip&>::value_type, std::size_t> counts;
    std::size_t total = 0;
    for (const auto& other : all_)
      if (is_neighbour(other))
        if (const auto value = value_of(other)) ++counts[*value], ++total;
    for (const auto& [value, count] : counts)
      if (total >= kFewest && static_cast<double>(count) >= kNearlyAll * static_cast<double>(total)) return value;
    return std::nullopt;
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
    const auto others = usual([](const Clip& clip) { return clip.facts.gamma; });
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

  // Cameras have smaller pictures at high rates, and can be turned.
  void size() {
    using Size = std::pair<int, int>;
    const auto size_of = [this](const Clip& clip) -> std::optional<Size> {
      const auto& facts = clip.facts;
      if (!facts.width || !facts.height || captured_at(facts) != captured_at(facts_)) return std::nullopt;
      return Size(std::max(*facts.width, *facts.height), std::min(*facts.width, *facts.height));
    };
    const auto own = size_of(clip_), others = usual(size_of);
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
  bool is_of_silent_camera() const {
    std::size_t without = 0;
    bool others = false;
    for (const auto& other : all_) {
      if (!other.facts.audio || is_fast(other.facts, plan_.frame_rate)) continue;
      const bool heard = has_sound(other.facts), own = &other == &clip_ || is_neighbour(other);
      if (own && heard) return false;
      without += own;
      others |= heard;
    }
    return others && without >= kFewest;
  }

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
  const std::span<const Clip> all_;
  const Plan& plan_;
  const std::string name_;
  std::vector<Problem> found_;
};

}  // namespace

std::vector<Problem> checks_of(const Clip& clip, std::span<const Clip> all, const Plan& plan) {
  return Checks(clip, all, plan).found();
}

void add_checks(std::vector<Clip>& clips, const Plan& plan) {
  std::vector<std::vector<Problem>> found;
  for (const auto& clip : clips) found.push_back(checks_of(clip, clips, plan));
  for (std::size_t i = 0; i < clips.size(); ++i) {
    auto& problems = clips[i].facts.problems;
    problems.insert(problems.end(), found[i].begin(), found[i].end());
  }
}

}  // namespace everytake::media
