// From words on the command line to members and sections of the plan.
#pragma once

#include <span>
#include <string>
#include <vector>

#include "model.h"

namespace everytake::cli {

// `word` as the plan writes it. `noun` is for the sentence: "member", "section".
Result<std::string> choose_name(const std::string& word, const std::vector<std::string>& names, const char* noun);

// A moment of the song as `option` says it, "1:42.5", or "-0:02" for one before it begins. `invalid` where it is none,
// or where the song has ended by then.
Result<Micros> moment_of_song(const char* option, const std::string& said, const Song& song);
// How it is written; nullopt for anything else.
std::optional<Micros> parse_moment(const std::string& text);

std::vector<std::string> member_names(const Plan& plan);
std::vector<std::string> section_names(const Plan& plan);

bool same_letters(const std::string& a, const std::string& b);         // but for case; ASCII letters
bool holds_letters(const std::string& text, const std::string& part);  // the same

// Sections a clip belongs to: tagged with, or placed with at least a second in them. In song order.
std::vector<std::string> sections_of(const Clip& clip, const Plan& plan);

}  // namespace everytake::cli
