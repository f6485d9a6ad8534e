// What takes and tags cover of what the plan wants.
#pragma once

#include <map>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "model.h"

namespace everytake::coverage {

// How many of those counted are so by clips alone whose picture is in doubt.
struct Doubt {
  int takes = 0;
  int b_roll = 0;
  int slow_mo = 0;
  int looks = 0;
  bool covered = false;  // some of what performances cover
  bool operator==(const Doubt&) const = default;
};

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
  Doubt in_doubt = {};
};

struct MemberCoverage {
  struct Share {
    int clips = 0;
    Micros on_screen{};
  };
  std::string name;
  Micros have{};                             // on screen, of b-roll and slow-mo
  Micros in_doubt{};                         // of these, by clips whose picture is in doubt
  Micros want{};                             // zero for a member who is on set in no section
  std::map<Kind, Share> kinds;               // every kind
  std::vector<std::optional<int>> sections;  // clips that count in each of the plan's; nullopt where not on set
};

// A clip that is counted though its picture may be of no use: its end is missing, it is black.
struct ClipInDoubt {
  std::string clip;  // "R001/C0003"
  Kind kind = Kind::performance;
  std::vector<ProblemCode> codes;     // of its problems that put it in doubt
  std::vector<std::string> sections;  // in which it counts, or what is covered rests on it
  std::vector<std::string> members;   // of whom it counts
  std::string text;                   // "R001/C0003: performance in Verse 1; its end is missing"
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
  std::optional<Micros> length;            // of the song
  std::vector<SectionCoverage> sections;   // in song order
  std::vector<MemberCoverage> members;     // in the plan's order
  std::vector<Gap> gaps;                   // the most urgent first
  int problem_clips = 0;                   // clips with a problem
  std::vector<ClipInDoubt> in_doubt = {};  // in the order of roll and name
  bool complete() const { return gaps.empty(); }
};

// A clip counts in a section when it is tagged with it; a performance also when it is a take of it, b-roll and slow-mo
// when they are placed with at least a second of it. No tag makes a take. Clips of unknown kind count nowhere; of
// several that are the same bytes one counts. A clip whose picture is in doubt counts, as who was there may know it to
// be good enough; it is always named in `in_doubt`. The order of `clips` makes no difference.
Coverage coverage(const Plan& plan, std::span<const Clip> clips);

}  // namespace everytake::coverage
