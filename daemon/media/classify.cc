#include "media/classify.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/text.h"

namespace everytake::media {
namespace {

constexpr Micros kEnough = std::chrono::seconds(10);  // of song: shorter is overheard, not mimed to
constexpr double kSameSpeed = 0.02;                   // a pitch control that is not quite at its middle

const Problem* why_unreadable(const ClipFacts& facts) {
  for (const auto& problem : facts.problems)
    for (const auto code :
         {ProblemCode::empty, ProblemCode::incomplete, ProblemCode::unreadable, ProblemCode::no_picture})
      if (problem.code == code) return &problem;
  return nullptr;
}

Micros in_song(const Placement& placement) {
  Micros sum{};
  for (const auto& span : placement.spans) sum += span.length();
  return sum;
}

std::string placed_text(const Placement& placement) {
  std::string text = length_text(in_song(placement)) + " of it lie in the song";
  if (placement.state == Placement::State::ambiguous)
    text += fmt::format(", in {} places alike", std::max<std::size_t>(2, placement.candidates.size()));
  if (std::abs(placement.speed - 1) > kSameSpeed)
    text += fmt::format(", played at {:.4g} times its speed", placement.speed);
  return text;
}

const char* unplaced_text(Placement::State state) {
  switch (state) {
    case Placement::State::no_audio:
      return "it has no sound";
    case Placement::State::pending:
      return "it has not been looked for in the song yet";
    case Placement::State::none:
      return "its sound is not in the song";
    default:
      return "too little of it lies in the song";
  }
}

}  // namespace

Judgement classify(const ClipFacts& facts, const Placement& placement, Rational edit_rate) {
  const auto judged = [](Kind kind, std::string because) { return Judgement{kind, By::rule, std::move(because)}; };
  if (const auto* problem = why_unreadable(facts)) return {std::nullopt, By::rule, problem->message};

  const auto captured = facts.capture_rate ? facts.capture_rate : facts.frame_rate;
  const bool fast = captured && !(*captured < edit_rate * Rational(3, 2));
  if (fast && facts.frame_rate && *facts.frame_rate < *captured && !has_sound(facts))
    return judged(Kind::slow_mo, fmt::format("recorded at {} frames a second and plays at {}: {:.3g} times slower",
                                             rate_text(*captured), rate_text(*facts.frame_rate),
                                             (*captured / *facts.frame_rate).value()));

  const bool found = placement.state == Placement::State::placed || placement.state == Placement::State::ambiguous;
  const bool placed = found && in_song(placement) >= kEnough;
  const bool song_speed = std::abs(placement.speed - 1) <= kSameSpeed;
  if (placed && (song_speed || !fast)) return judged(Kind::performance, placed_text(placement));
  if (fast)
    return judged(Kind::slow_mo, fmt::format("recorded at {} frames a second, {:.3g} times the edit's {}{}",
                                             rate_text(*captured), (*captured / edit_rate).value(),
                                             rate_text(edit_rate), placed ? "; " + placed_text(placement) : ""));
  const std::string rate = captured ? fmt::format("recorded at {} frames a second, and ", rate_text(*captured)) : "";
  const std::string where = found ? placed_text(placement) + ", less than 10 s" : unplaced_text(placement.state);
  return judged(Kind::b_roll, rate + where);
}

}  // namespace everytake::media
