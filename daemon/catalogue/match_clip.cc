#include "catalogue/match_clip.h"

#include <fmt/format.h>
#include <fnmatch.h>
#include <string.h>

#include <algorithm>
#include <charconv>
#include <optional>
#include <vector>

#include "base/text.h"

namespace everytake::catalogue {
namespace {

constexpr std::size_t kListed = 8;  // candidates named in a message; more would hide the sentence

std::string folded(std::string_view text) {
  std::string out(text);
  for (auto& c : out)
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
  return out;
}

// All that a clip may be called by.
std::vector<std::string> names_of(const NamedClip& clip) {
  std::vector<std::string> names{clip.name, clip.path.filename().string(), clip.path.string()};
  for (std::size_t i = 0; i < 3; ++i) names.push_back(clip.roll + "/" + names[i]);
  return names;
}

bool means(std::string_view text, const NamedClip& clip, bool fold) {
  return std::ranges::any_of(names_of(clip),
                             [&](const auto& name) { return fold ? folded(text) == folded(name) : text == name; });
}

std::optional<std::int64_t> number(std::string_view text) {
  std::int64_t value = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (error != std::errc{} || end != text.data() + text.size() || value <= 0 || text.front() == '0')
    return std::nullopt;
  return value;
}

std::vector<const NamedClip*> matches(std::string_view text, std::span<const NamedClip> clips, bool fold) {
  std::vector<const NamedClip*> found;
  const auto id = number(text);
  for (const auto& clip : clips)
    if (clip.id.value == id || means(text, clip, fold)) found.push_back(&clip);
  return found;
}

tl::unexpected<Error> no_such_clip(std::string_view text, std::span<const NamedClip> clips) {
  if (clips.empty())
    return fail(Code::not_found, fmt::format("there is no clip \"{}\" yet: offload a card first", shown(text)));
  const auto distance = [&](const NamedClip& clip) { return edit_distance(folded(text), folded(clip.name)); };
  const auto nearest = std::min_element(clips.begin(), clips.end(),
                                        [&](const auto& a, const auto& b) { return distance(a) < distance(b); });
  const auto hint = distance(*nearest) <= 2 ? fmt::format(": did you mean {}?", shown(nearest->name)) : "";
  return fail(Code::not_found, fmt::format("there is no clip \"{}\"{}", shown(text), hint));
}

tl::unexpected<Error> several(std::string_view text, const std::vector<const NamedClip*>& found) {
  const auto twins = [&](const NamedClip& clip) {
    return std::count_if(found.begin(), found.end(),
                         [&](const auto* other) { return other->roll == clip.roll && other->name == clip.name; });
  };
  std::string list;
  for (std::size_t i = 0; i < std::min(found.size(), kListed); ++i)
    list += fmt::format("{}{} (id {})", i ? ", " : "",
                        shown(found[i]->roll + "/" + (twins(*found[i]) > 1 ? found[i]->path.string() : found[i]->name)),
                        found[i]->id.value);
  if (found.size() > kListed) list += fmt::format(" and {} more", found.size() - kListed);
  return fail(Code::invalid, fmt::format("\"{}\" could be any of {} clips: {}", shown(text), found.size(), list));
}

bool is_wildcard(std::string_view text) {
  return text.find_first_of("*?[") != std::string_view::npos;
}

Result<std::vector<ClipId>> match_wildcard(const std::string& text, std::span<const NamedClip> clips) {
  std::vector<ClipId> found;
  for (const auto& clip : clips)
    if (std::ranges::any_of(names_of(clip),
                            [&](const auto& name) { return ::fnmatch(text.c_str(), name.c_str(), FNM_CASEFOLD) == 0; }))
      found.push_back(clip.id);
  if (found.empty()) return fail(Code::not_found, fmt::format("no clip is named like \"{}\"", shown(text)));
  return found;
}

// Numbers in names by their value: C9 before C10.
bool comes_before(const std::string& a, const std::string& b) {
  return ::strverscmp(a.c_str(), b.c_str()) < 0;
}

const NamedClip& clip_with(ClipId id, std::span<const NamedClip> clips) {
  return *std::ranges::find(clips, id, &NamedClip::id);
}

// nullopt where no '-' stands between two clips.
std::optional<Result<std::vector<ClipId>>> match_range(std::string_view text, std::span<const NamedClip> clips) {
  for (auto at = text.find('-'); at != std::string_view::npos; at = text.find('-', at + 1)) {
    const auto left = match_clip(text.substr(0, at), clips);
    const auto several_rolls = [&] {
      return left.error().code == Code::invalid && match_clip(text.substr(at + 1), clips);
    };
    if (!left && several_rolls())
      return tl::unexpected(within(fmt::format("\"{}\": write its roll before it", shown(text)), left.error()));
    if (!left) continue;
    const auto& first = clip_with(*left, clips);
    // "R002/C0001-C0012": the second is of the first one's roll.
    const auto end = text.substr(at + 1);
    auto right = match_clip(fmt::format("{}/{}", first.roll, end), clips);
    if (!right) right = match_clip(end, clips);
    if (!right) continue;
    const auto& last = clip_with(*right, clips);
    if (first.roll != last.roll)
      return fail(Code::invalid, fmt::format("\"{}\": {}/{} and {}/{} are of two rolls: write a range for each",
                                             shown(text), first.roll, shown(first.name), last.roll, shown(last.name)));
    if (comes_before(last.name, first.name))
      return fail(Code::invalid,
                  fmt::format("\"{}\": {} comes after {}", shown(text), shown(first.name), shown(last.name)));
    std::vector<ClipId> found;
    for (const auto& clip : clips)
      if (clip.roll == first.roll && !comes_before(clip.name, first.name) && !comes_before(last.name, clip.name))
        found.push_back(clip.id);
    return found;
  }
  return std::nullopt;
}

}  // namespace

Result<ClipId> match_clip(std::string_view text, std::span<const NamedClip> clips) {
  auto found = matches(text, clips, /*fold=*/false);
  if (found.empty()) found = matches(text, clips, /*fold=*/true);
  if (found.empty()) return no_such_clip(text, clips);
  if (found.size() > 1) return several(text, found);
  return found.front()->id;
}

Result<std::vector<ClipId>> match_clips(std::string_view text, std::span<const NamedClip> clips) {
  const auto one = match_clip(text, clips);
  if (one) return std::vector{*one};
  if (one.error().code != Code::not_found) return tl::unexpected(one.error());
  if (auto range = match_range(text, clips)) return *std::move(range);
  if (is_wildcard(text)) return match_wildcard(std::string(text), clips);
  return tl::unexpected(one.error());
}

}  // namespace everytake::catalogue
