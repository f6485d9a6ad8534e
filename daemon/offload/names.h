// Names a destination can't hold as the card has them: other filesystems take fewer bytes in a name, or don't tell
// case.
#pragma once

#include <map>
#include <set>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "os/fs.h"

namespace everytake::offload {

// What a filesystem makes of the names at hand. As it stands here: it takes them all.
struct NameRules {
  bool folds = false;              // names that differ in case only, or in how an accent is written, are one
  std::set<char> refused;          // bytes it does not take in a name
  bool only_utf8 = false;          // other bytes are refused
  bool drops_ending = false;       // a dot or space at the end of a name is lost
  std::size_t longest = SIZE_MAX;  // bytes in one name

  bool takes_all() const { return !folds && refused.empty() && !only_utf8 && !drops_ending && longest == SIZE_MAX; }
};

// What in the names of a card some filesystem may not take as it is.
struct UnusualNames {
  std::set<char> bytes;
  bool not_utf8 = false, odd_ending = false;
  bool alike = false;  // two that a filesystem which folds takes for one
  std::size_t longest = 0;
};

UnusualNames unusual_in(std::span<const Path> paths);

// Asks a filesystem about them, by making files of no bytes in `folder`, which is made where it is missing, and
// removing them; several visits may ask at once. Where nothing is unusual nothing is asked. What can't be asked counts
// as taken: the copying says then what is wrong.
NameRules ask_name_rules(Fs& fs, const Path& folder, const UnusualNames& odd);

// The names of one destination's files. A name it can't hold is written with %XX for the bytes it refuses (RFC 3986,
// section 2.1), and with ~2, ~3 … before its extension where that name is taken by another file of the folder.
class NamesThere {
 public:
  explicit NamesThere(NameRules rules = {}) : rules_(std::move(rules)) {}

  // `on_card` lies at `stored` already, `folder` above it: it stays there, and nothing else gets that name.
  void keep(const Path& folder, const Path& on_card, const Path& stored);
  // Where `on_card`, a path on the card, lies beneath `folder`: always the same answer.
  Path of(const Path& folder, const Path& on_card);
  bool takes_all() const { return rules_.takes_all(); }

 private:
  std::string choose(const std::string& parent, const std::string& name);
  std::string held(const std::string& name) const;
  std::string used(const std::string& path) const;

  NameRules rules_;
  std::map<std::string, std::string> stored_;  // by folder and path on the card
  std::set<std::string> used_;                 // folded where names fold
};

struct OtherName {
  Path stored;   // relative to the roll's folder
  Path on_card;  // the same, on the card
};

// The note beside a roll that tells the card's own names: a line each, sorted, both paths with %XX for all but letters,
// digits, "-._~" and "/" (RFC 3986), two spaces between them.
std::string names_note(std::span<const OtherName> names);

// Reads what names_note() wrote, from a disk that may hold anything. `invalid`, with the number of the line, for one
// that is no such line, whose path leads out of the roll, whose two paths differ in depth, or whose file stood there
// before.
Result<std::vector<OtherName>> parse_names_note(std::string_view text);

}  // namespace everytake::offload
