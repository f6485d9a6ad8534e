// A plan of two sections, small enough to work out by hand what covers it.
#pragma once

#include <chrono>
#include <string>
#include <utility>
#include <vector>

#include "model.h"
#include "support/rooms.h"

namespace everytake::test {

inline Section section(std::string name, Span span, Wants want = {},
                       std::vector<std::string> members = {"Ada", "Jonas"}) {
  return {.name = std::move(name),
          .span = span,
          .first_bar = std::nullopt,
          .bars = std::nullopt,
          .members = std::move(members),
          .want = want};
}

// Verse 10 s to 30 s, chorus 30 s to 50 s; both members are on set in the verse, only Ada in the chorus.
inline Plan small_plan(Wants want = {}, Micros member_seconds = {}) {
  using namespace std::chrono_literals;
  Plan plan;
  plan.title = "Saltmarsh Radio";
  plan.frame_rate = Rational(24, 1);
  plan.song.length = 60s;
  plan.members = {{"Ada", "voice"}, {"Jonas", "guitar"}};
  plan.sections = {section("Verse", {10s, 30s}, want), section("Chorus", {30s, 50s}, want, {"Ada"})};
  plan.member_seconds = member_seconds;
  return plan;
}

}  // namespace everytake::test
