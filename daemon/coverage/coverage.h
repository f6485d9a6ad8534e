// What takes and tags cover of what the plan wants.
#pragma once

#include <map>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "model.h"

namespace everytake::coverage {

// How a section stands.
struct SectionCoverage {
  std::string name;
  Span span;
  Wants want;
  int takes = 0;  // performances that cover at least nine tenths of it
  int b_roll = 0;
  int slow_mo = 0;
  std::vector<std::string> looks;  // of every clip that counts in it; sorted, each once
  Micros covered{};                // by performances, however many at once
  Micros b_roll_length{};          // on screen: of a clip that is tagged with it all, of others what lies in it
  Micros slow_mo_length{};
};

struct MemberCoverage {
  struct Share {
    int clips = 0;
    Micros on_screen{};
  };
  std::string name;
  Micros have{};                             // on screen, of b-roll and slow-mo
  Micros want{};                             // zero for a member who is on set in no section
  std::map<Kind, Share> kinds;               // every kind
  std::vector<std::optional<int>> sections;  // clips that count in each of the plan's; nullopt where not on set
};

// Something to shoot.
struct Gap {
  std::optional<std::string> section;
  std::optional<std::string> member;
  std::optional<Kind> kind;  // nullopt for looks, and for a member's seconds
  double have = 0;           // clips or looks; seconds for a member
  double want = 0;
  std::string text;  // "Verse 1: 2 more takes"
};

struct Coverage {
  std::string title;
  std::optional<Micros> length;           // of the song
  std::vector<SectionCoverage> sections;  // in song order
  std::vector<MemberCoverage> members;    // in the plan's order
  std::vector<Gap> gaps;                  // the most urgent first
  int problem_clips = 0;                  // clips with a problem
  bool complete() const { return gaps.empty(); }
};

// A clip counts in a section when it is tagged with it; a performance also when it is a take of it, b-roll and slow-mo
// when they are placed with at least a second of it. No tag makes a take. Clips of unknown kind count nowhere; of
// several that are the same bytes one counts. The order of `clips` makes no difference.
Coverage coverage(const Plan& plan, std::span<const Clip> clips);

}  // namespace everytake::coverage
