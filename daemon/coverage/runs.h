// What to shoot next, as one would say it on the set: runs of the song, each with what it brings.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "coverage/coverage.h"

namespace everytake::coverage {

// What a run adds to one target of the plan.
struct Fill {
  std::optional<std::string> section;  // nullopt for a member's seconds
  std::optional<Kind> kind;            // nullopt for looks, and for a member's seconds
  std::optional<std::string> member;   // whose seconds
  double count = 0;                    // clips or looks; seconds for a member
};

// A stretch of the song, played back once or more often and shot in one way.
struct Run {
  Span span;
  int times = 1;
  double speed = 1;                  // of the playback
  std::vector<std::string> members;  // who is in the picture; none where it is nobody in particular
  Kind kind = Kind::performance;
  std::vector<Fill> fills;
  std::string how;    // "Once through with everybody, wide (2:08)": how long it plays, without setting up
  std::string gains;  // "+1 take in all 7 sections"
  std::string text() const { return how + ": " + gains; }
};

// Runs that together fill every gap, the one that gains most for its minutes first: the time of its playback, and a
// minute to set up. A first take of a section weighs most, then further takes, b-roll, a member's seconds and slow-mo,
// then looks. B-roll and slow-mo are proposed only of who is on set throughout; a performance names all who are on set
// in any of it. Slow-mo is proposed at the fastest of the plan's playback speeds. A pure function; it stops after a
// thousand, equal ones counted each.
std::vector<Run> next_runs(const Plan& plan, const Coverage& coverage);

}  // namespace everytake::coverage
