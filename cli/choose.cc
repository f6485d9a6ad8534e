#include "cli/choose.h"

#include <fmt/format.h>

#include <algorithm>

#include "base/text.h"

namespace everytake::cli {

bool same_letters(const std::string& a, const std::string& b) {
  return lower_case(a) == lower_case(b);
}

bool holds_letters(const std::string& text, const std::string& part) {
  return lower_case(text).find(lower_case(part)) != std::string::npos;
}

Result<std::string> choose_name(const std::string& word, const std::vector<std::string>& names, const char* noun) {
  for (const auto& name : names)
    if (same_letters(word, name)) return name;
  const auto meant = nearest(word, names);
  return fail(Code::invalid, fmt::format("the plan has no {} \"{}\"{}", noun, shown(word),
                                         meant ? fmt::format("; did you mean \"{}\"?", shown(*meant)) : ""));
}

std::optional<Micros> parse_moment(const std::string& text) {
  const bool before = text.starts_with('-');
  const auto time = parse_song_time(before ? text.substr(1) : text);
  if (!time) return std::nullopt;
  return before ? -*time : *time;
}

Result<Micros> moment_of_song(const char* option, const std::string& said, const Song& song) {
  const auto moment = parse_moment(said);
  if (!moment)
    return fail(Code::invalid, fmt::format("{} {}: write minutes and seconds, as in 1:42.5", option, shown(said)));
  if (song.length && *moment >= *song.length)
    return fail(Code::invalid, fmt::format("{} {} is past the end of the song at {}; name a moment before that", option,
                                           shown(said), song_time(*song.length)));
  return *moment;
}

std::vector<std::string> member_names(const Plan& plan) {
  std::vector<std::string> names;
  for (const auto& member : plan.members) names.push_back(member.name);
  return names;
}

std::vector<std::string> section_names(const Plan& plan) {
  std::vector<std::string> names;
  for (const auto& section : plan.sections) names.push_back(section.name);
  return names;
}

std::vector<std::string> sections_of(const Clip& clip, const Plan& plan) {
  std::vector<std::string> names;
  for (const auto& section : plan.sections) {
    const bool tagged = std::find(clip.sections.begin(), clip.sections.end(), section.name) != clip.sections.end();
    if (tagged || holds(clip.placement, section)) names.push_back(section.name);
  }
  return names;
}

}  // namespace everytake::cli
