#include "catalogue/match_clip.h"

#include <fmt/format.h>

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

bool means(std::string_view text, const NamedClip& clip, bool fold) {
  const auto equal = [&](std::string_view name) { return fold ? folded(text) == folded(name) : text == name; };
  const auto file = clip.path.filename().string();
  for (const std::string_view name :
       {std::string_view(clip.name), std::string_view(file), std::string_view(clip.path.native())})
    if (equal(name) || equal(fmt::format("{}/{}", clip.roll, name))) return true;
  return false;
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

}  // namespace

Result<ClipId> match_clip(std::string_view text, std::span<const NamedClip> clips) {
  auto found = matches(text, clips, /*fold=*/false);
  if (found.empty()) found = matches(text, clips, /*fold=*/true);
  if (found.empty()) return no_such_clip(text, clips);
  if (found.size() > 1) return several(text, found);
  return found.front()->id;
}

}  // namespace everytake::catalogue
