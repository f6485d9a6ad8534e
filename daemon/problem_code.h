// What can be wrong, by name: the codes of problems, for programs and for the catalogue.
#pragma once

#include <optional>
#include <string_view>

namespace everytake {

// An enumerator is called as its text is. Texts are never renamed: catalogues hold them, and scripts read them.
enum class ProblemCode {
  // ---- of a card ----
  unreadable,  // a file, a folder, or a recording
  not_a_file,
  too_deep,
  loop,
  card_changed,
  not_judged,  // the card could not be looked at again, so there is no verdict
  // ---- of a destination ----
  destination_absent,
  destination_lost,
  other_disk,
  foreign_shoot,
  cloned_mark,
  bad_mark,
  read_only,
  no_room,
  too_large,
  // ---- of copies ----
  bytes_differ,
  name_taken,
  copy_failed,
  copy_unreadable,
  missing_copy,
  no_good_copy,
  read_from_memory,
  // ---- of what lies beside the copies ----
  no_manifest,
  no_backup,
  bad_list,
  lists_differ,
  not_in_list,
  kept_catalogue_damaged,
  // ---- of a recording ----
  empty,
  incomplete,
  truncated,
  no_picture,
  variable_rate,
  timecode_invalid,
  sidecar_unreadable,
  sidecar_disagrees,
  sidecar_of_another_clip,
  // ---- of a clip beside the plan and its neighbours ----
  other_gamma,
  other_rate,
  other_size,
  too_short,
  no_frames,
  black_picture,
  no_sound,
  sound_unreadable,
  silent_sound,
  clipped_sound,

  unknown,  // of another version of this program: its message says what it is
};

const char* to_string(ProblemCode code);
// nullopt where no problem is called so.
std::optional<ProblemCode> parse_problem_code(std::string_view text);

}  // namespace everytake
