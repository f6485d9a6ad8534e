#include "card/names.h"

#include <algorithm>

#include "base/text.h"

namespace everytake::card {
namespace {

bool is_digit(char c) {
  return c >= '0' && c <= '9';
}

bool is_a_systems(std::string_view part) {
  return part.starts_with("._") || part.starts_with(".trash") || part.starts_with(".spotlight") ||
         part == ".fseventsd" || part == ".temporaryitems" || part == "system volume information" ||
         part == "$recycle.bin" || part == "lost+found";
}

}  // namespace

std::string_view leaf_of(std::string_view folder) {
  return folder.substr(folder.rfind('/') + 1);  // npos + 1 is 0
}

std::string_view parent_of(std::string_view folder) {
  const auto slash = folder.rfind('/');
  return slash == std::string_view::npos ? std::string_view() : folder.substr(0, slash);
}

Name name_of(const CardFile& file) {
  const std::string path = lower_case(file.path.native());
  const std::string_view leaf = leaf_of(path);
  const auto dot = leaf.rfind('.');
  const bool has_extension = dot != std::string_view::npos && dot > 0;
  return {&file, std::string(parent_of(path)), std::string(leaf.substr(0, has_extension ? dot : leaf.size())),
          has_extension ? std::string(leaf.substr(dot + 1)) : ""};
}

bool is_left_by_a_system(const Name& name) {
  if (name.stem.starts_with("._")) return true;
  for (std::string_view folder = name.folder; !folder.empty(); folder = parent_of(folder))
    if (is_a_systems(leaf_of(folder))) return true;
  return false;
}

bool ends_in_digits(std::string_view text, std::size_t count) {
  return text.size() > count && std::all_of(text.end() - static_cast<std::ptrdiff_t>(count), text.end(), is_digit);
}

}  // namespace everytake::card
