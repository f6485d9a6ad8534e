// A contact sheet as one HTML file with its pictures inside: nothing is fetched when it is opened, no script runs.
#pragma once

#include <optional>
#include <string>
#include <vector>

namespace everytake::exports {

struct SheetClip {
  std::string name;                           // "R001/C0003"
  std::string kind, length, members, places;  // empty where not known
  std::vector<std::string> problems;
  std::optional<std::string> jpeg;  // the bytes; nullopt where there is no picture
};

// Text may hold anything; it is shown, never obeyed. Prints on A4 without cutting a clip in two.
std::string sheet_html(const std::string& title, const std::vector<SheetClip>& clips);

}  // namespace everytake::exports
