// What a random history is made of, and what came of all of them.
#pragma once

#include <iterator>
#include <map>
#include <ostream>
#include <string>

namespace everytake::test {

// What can happen on a set. Numbers pick clips and disks, modulo how many there are.
enum class Event {
  offload,
  twice,
  interrupted,
  hiccup,
  shoot_more,
  reshoot,
  change_middle,
  shift_times,
  wipe,
  unplug,
  plug_in,
  die,
  revive,
  alter,
  rot,
  lose,
  power_cut,
  flaky,
  flip,
  bad_write,
  verify,
  repair,
  repair_cut,
  folder,
  on_card,
  clone,
  other_shoot,
  rival,
  restore
};
inline constexpr const char* kNames[] = {
    "offload",   "twice",  "interrupted", "hiccup",    "shoot_more", "reshoot", "change_middle", "shift_times",
    "wipe",      "unplug", "plug_in",     "die",       "revive",     "alter",   "rot",           "lose",
    "power_cut", "flaky",  "flip",        "bad_write", "verify",     "repair",  "repair_cut",    "folder",
    "on_card",   "clone",  "other_shoot", "rival",     "restore"};
inline constexpr int kEvents = static_cast<int>(std::size(kNames));
static_assert(kEvents == static_cast<int>(Event::restore) + 1);

// Over all histories: how often each event came, how often a fault that one named was met, and how many yeses were
// compared with what the disks hold.
struct Tally {
  std::map<std::string, int> events;
  std::map<std::string, int> met;
  int yeses = 0;
};
inline Tally tally;

// What the filesystems tell: `coarse` ones nothing but sizes and coarse times.
enum class Disks { plain, coarse };

inline std::ostream& operator<<(std::ostream& out, Disks disks) {
  return out << (disks == Disks::plain ? "plain disks" : "coarse disks");
}

struct Step {
  Event event;
  unsigned pick;
};

inline std::ostream& operator<<(std::ostream& out, const Step& step) {
  return out << kNames[static_cast<int>(step.event)] << ' ' << step.pick;
}

}  // namespace everytake::test
