#include "problem_code.h"

#include <algorithm>
#include <cstddef>
#include <iterator>

namespace everytake {
namespace {

struct Named {
  ProblemCode code;
  const char* text;
};

constexpr Named kCodes[] = {
    {ProblemCode::unreadable, "unreadable"},
    {ProblemCode::not_a_file, "not_a_file"},
    {ProblemCode::too_deep, "too_deep"},
    {ProblemCode::loop, "loop"},
    {ProblemCode::card_changed, "card_changed"},
    {ProblemCode::not_judged, "not_judged"},
    {ProblemCode::destination_absent, "destination_absent"},
    {ProblemCode::destination_lost, "destination_lost"},
    {ProblemCode::other_disk, "other_disk"},
    {ProblemCode::foreign_shoot, "foreign_shoot"},
    {ProblemCode::cloned_mark, "cloned_mark"},
    {ProblemCode::bad_mark, "bad_mark"},
    {ProblemCode::read_only, "read_only"},
    {ProblemCode::no_room, "no_room"},
    {ProblemCode::too_large, "too_large"},
    {ProblemCode::bytes_differ, "bytes_differ"},
    {ProblemCode::name_taken, "name_taken"},
    {ProblemCode::copy_failed, "copy_failed"},
    {ProblemCode::copy_unreadable, "copy_unreadable"},
    {ProblemCode::missing_copy, "missing_copy"},
    {ProblemCode::no_good_copy, "no_good_copy"},
    {ProblemCode::read_from_memory, "read_from_memory"},
    {ProblemCode::no_manifest, "no_manifest"},
    {ProblemCode::no_backup, "no_backup"},
    {ProblemCode::bad_list, "bad_list"},
    {ProblemCode::lists_differ, "lists_differ"},
    {ProblemCode::not_in_list, "not_in_list"},
    {ProblemCode::kept_catalogue_damaged, "kept_catalogue_damaged"},
    {ProblemCode::empty, "empty"},
    {ProblemCode::incomplete, "incomplete"},
    {ProblemCode::truncated, "truncated"},
    {ProblemCode::no_picture, "no_picture"},
    {ProblemCode::variable_rate, "variable_rate"},
    {ProblemCode::timecode_invalid, "timecode_invalid"},
    {ProblemCode::sidecar_unreadable, "sidecar_unreadable"},
    {ProblemCode::sidecar_disagrees, "sidecar_disagrees"},
    {ProblemCode::sidecar_of_another_clip, "sidecar_of_another_clip"},
    {ProblemCode::other_gamma, "other_gamma"},
    {ProblemCode::other_rate, "other_rate"},
    {ProblemCode::other_size, "other_size"},
    {ProblemCode::too_short, "too_short"},
    {ProblemCode::no_frames, "no_frames"},
    {ProblemCode::black_picture, "black_picture"},
    {ProblemCode::no_sound, "no_sound"},
    {ProblemCode::sound_unreadable, "sound_unreadable"},
    {ProblemCode::silent_sound, "silent_sound"},
    {ProblemCode::clipped_sound, "clipped_sound"},
    {ProblemCode::unknown, "unknown"},
};

constexpr bool stand_in_order() {
  for (std::size_t i = 0; i < std::size(kCodes); ++i)
    if (kCodes[i].code != static_cast<ProblemCode>(i)) return false;
  return true;
}
static_assert(std::size(kCodes) == static_cast<std::size_t>(ProblemCode::unknown) + 1, "a code has no text");
static_assert(stand_in_order());

}  // namespace

const char* to_string(ProblemCode code) {
  return kCodes[static_cast<std::size_t>(code)].text;
}

std::optional<ProblemCode> parse_problem_code(std::string_view text) {
  const auto* found = std::ranges::find_if(kCodes, [text](const Named& each) { return text == each.text; });
  return found == std::end(kCodes) ? std::nullopt : std::optional(found->code);
}

}  // namespace everytake
