// From words on the command line to clips, members and sections.
#pragma once

#include <span>
#include <string>
#include <vector>

#include "model.h"

namespace everytake::cli {

// An id ("17"), a name ("C0003"), a file name ("C0003.MP4"), or ROLL/NAME. Letters' case makes no difference.
// `not_found` with the nearest name; `invalid` where several match, naming them.
Result<const Clip*> choose_clip(const std::string& word, std::span<const Clip> clips);

// `word` as the plan writes it. `noun` is for the sentence: "member", "section".
Result<std::string> choose_name(const std::string& word, const std::vector<std::string>& names, const char* noun);

std::vector<std::string> member_names(const Plan& plan);
std::vector<std::string> section_names(const Plan& plan);

bool same_letters(const std::string& a, const std::string& b);         // but for case; ASCII letters
bool holds_letters(const std::string& text, const std::string& part);  // the same

// Sections a clip belongs to: tagged with, or placed with at least a second in them. In song order.
std::vector<std::string> sections_of(const Clip& clip, const Plan& plan);

}  // namespace everytake::cli
