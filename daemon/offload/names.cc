#include "offload/names.h"

#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <atomic>

#include "base/text.h"
#include "offload/manifest.h"

namespace everytake::offload {
namespace {

// Bytes that some filesystem in use refuses: those of exFAT and NTFS ("exFAT file system specification", table 35),
// and the control characters.
bool unusual(char c) {
  return static_cast<unsigned char>(c) < 0x20 || c == '\x7f' ||
         std::string_view("\"*:<>?\\|").find(c) != std::string_view::npos;
}

bool ends_oddly(const std::string& name) {
  return name.ends_with('.') || name.ends_with(' ');
}

// A name of our own to ask with, that no other visit uses.
std::string probe(std::string_view middle, std::string_view ending = "") {
  static std::atomic<unsigned> number{0};
  return fmt::format("{}-{}-name-{}.everytake-part{}", ::getpid(), ++number, middle, ending);
}

// Whether a file of this name can be made, and is listed under it.
bool takes(Fs& fs, const Path& folder, const std::string& name) {
  const Path path = folder / name;
  auto made = fs.create(path, 0);
  if (!made) {
    const auto code = made.error().code;  // these are no answer
    return code == Code::gone || code == Code::io || code == Code::no_space || code == Code::exists;
  }
  const bool closed = (*made)->close().has_value();
  made->reset();
  const auto entries = fs.list(folder);
  const bool listed = !entries || std::ranges::any_of(*entries, [&](const auto& entry) { return entry.name == name; });
  (void)fs.remove(path);
  return !closed || listed;
}

// Whether a file of the one name is found under the other, which is as the first but for `middle`.
bool takes_for_one(Fs& fs, const Path& folder, std::string_view middle, std::string_view other_middle) {
  const auto name = probe(middle);
  auto other = name;
  other.replace(other.find(middle, other.find("-name-")), middle.size(), other_middle);
  auto made = fs.create(folder / name, 0);
  if (!made) return false;
  (void)(*made)->close();
  made->reset();
  const bool one = fs.stat(folder / other).has_value();
  (void)fs.remove(folder / name);
  return one;
}

}  // namespace

UnusualNames unusual_in(std::span<const Path> paths) {
  UnusualNames found;
  std::map<std::string, std::string> whole;  // every folder and file: folded, and as it is
  for (const auto& path : paths) {
    for (const auto& part : path) {
      const auto& name = part.native();
      for (const char c : name)
        if (unusual(c)) found.bytes.insert(c);
      found.not_utf8 = found.not_utf8 || !is_utf8(name);
      found.odd_ending = found.odd_ending || ends_oddly(name);
      found.longest = std::max(found.longest, name.size());
    }
    for (Path above = path; !above.empty(); above = above.parent_path()) {
      const auto [it, added] = whole.emplace(folded(above.native()), above.native());
      if (it->second != above.native()) found.alike = true;
      if (!added) break;  // what lies above was seen as well
    }
  }
  return found;
}

NameRules ask_name_rules(Fs& fs, const Path& folder, const UnusualNames& odd) {
  NameRules rules;
  const bool asks = !odd.bytes.empty() || odd.not_utf8 || odd.odd_ending || odd.alike;
  if (asks) (void)fs.make_folder(folder);
  for (const char c : odd.bytes)
    if (!takes(fs, folder, probe(std::string_view(&c, 1)))) rules.refused.insert(c);
  rules.only_utf8 = odd.not_utf8 && !takes(fs, folder, probe("\xff"));
  rules.drops_ending = odd.odd_ending && !(takes(fs, folder, probe("", ".")) && takes(fs, folder, probe("", " ")));
  rules.folds =
      odd.alike && (takes_for_one(fs, folder, "A", "a") || takes_for_one(fs, folder, "\xc3\xa4", "a\xcc\x88"));
  // Names that are altered grow.
  if (const auto volume = fs.volume(); volume && (odd.longest > volume->longest_name || !rules.takes_all()))
    rules.longest = volume->longest_name;
  return rules;
}

// As the filesystem can hold it; another file may have that name.
std::string NamesThere::held(const std::string& name) const {
  std::string out;
  const bool escape_high = rules_.only_utf8 && !is_utf8(name);
  for (std::size_t i = 0; i < name.size(); ++i) {
    const char c = name[i];
    const bool ending = rules_.drops_ending && i + 1 == name.size() && (c == '.' || c == ' ');
    const bool high = escape_high && static_cast<unsigned char>(c) >= 0x80;
    if (ending || high || rules_.refused.count(c))
      out += fmt::format("%{:02X}", static_cast<unsigned char>(c));
    else
      out += c;
  }
  return out;
}

std::string NamesThere::used(const std::string& path) const {
  return rules_.folds ? folded(path) : path;
}

std::string NamesThere::choose(const std::string& parent, const std::string& name) {
  constexpr std::size_t kMostExtension = 16;
  const auto wanted = held(name);
  const auto dot = wanted.rfind('.');
  const auto most = std::min(kMostExtension, rules_.longest / 2);
  const bool has_extension = dot != std::string::npos && dot > 0 && wanted.size() - dot <= most;
  const auto extension = has_extension ? wanted.substr(dot) : "";
  for (int n = 1;; ++n) {
    auto stem = wanted.substr(0, wanted.size() - extension.size());
    const auto number = n == 1 ? "" : fmt::format("~{}", n);
    if (const auto rest = number.size() + extension.size(); stem.size() + rest > rules_.longest) {
      stem.resize(rules_.longest - rest);
      while (!stem.empty() && is_utf8(name) && !is_utf8(stem)) stem.pop_back();  // no half character
    }
    auto path = parent + "/" + stem + number + extension;
    if (used_.insert(used(path)).second) return path;
  }
}

void NamesThere::keep(const Path& folder, const Path& on_card, const Path& stored) {
  if (takes_all()) return;
  // From the file up: both paths are equally deep.
  for (auto card = on_card, there = stored; !card.empty() && there != folder;
       card = card.parent_path(), there = there.parent_path()) {
    stored_.emplace((folder / card).native(), there.native());
    used_.insert(used(there.native()));
  }
}

Path NamesThere::of(const Path& folder, const Path& on_card) {
  if (takes_all()) return folder / on_card;
  std::string key = folder.native(), there = key;
  for (const auto& part : on_card) {
    key += "/" + part.native();
    auto it = stored_.find(key);
    if (it == stored_.end()) it = stored_.emplace(key, choose(there, part.native())).first;
    there = it->second;
  }
  return there;
}

std::string names_note(std::span<const OtherName> names) {
  std::vector<std::string> lines;
  for (const auto& name : names)
    lines.push_back(percent_encoded(name.stored.native()) + "  " + percent_encoded(name.on_card.native()) + "\n");
  std::ranges::sort(lines);
  std::string text;
  for (const auto& line : lines) text += line;
  return text;
}

Result<std::vector<OtherName>> parse_names_note(std::string_view text) {
  std::vector<OtherName> names;
  std::set<std::string> stored_there, on_cards;
  for (std::size_t at = 0, number = 1; at < text.size(); ++number) {
    const auto end = std::min(text.find('\n', at), text.size());
    const auto line = text.substr(at, end - at);
    at = end + 1;
    const auto gap = line.find("  ");
    const auto stored = percent_decoded(line.substr(0, gap));
    const auto on_card = gap == std::string_view::npos ? std::nullopt : percent_decoded(line.substr(gap + 2));
    if (!stored || !on_card || !stays_inside(*stored) || !stays_inside(*on_card))
      return fail(Code::invalid, fmt::format("line {} is no pair of names", number));
    if (std::ranges::count(*stored, '/') != std::ranges::count(*on_card, '/'))
      return fail(Code::invalid, fmt::format("line {} is a pair of names that don't belong together", number));
    if (!stored_there.insert(*stored).second || !on_cards.insert(*on_card).second)
      return fail(Code::invalid, fmt::format("line {} tells of a file again", number));
    names.push_back({*stored, *on_card});
  }
  return names;
}

}  // namespace everytake::offload
