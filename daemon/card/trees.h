// The trees that cameras made, wherever in a listing they lie.
#pragma once

#include <map>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "card/layouts.h"
#include "card/names.h"

namespace everytake::card {

class Trees {
 public:
  // `names` are of all files but those that systems left.
  Trees(const Listing& listing, const std::vector<Name>& names);

  // The structures whose tree begins where cameras begin it on a card: at the top, or in PRIVATE.
  std::set<Structure> at_the_top() const;

  // What a file is to a recording.
  struct Spot {
    const Layout* layout = nullptr;
    FileRole role = FileRole::video;
    std::string scope;  // the files of one recording have it in common
  };
  std::optional<Spot> spot_of(const Name& name) const;  // nullopt: it belongs to the card, or is no recording's at all

 private:
  struct Tree {
    const Layout* layout;
    std::string folder;  // that the layout's places lie in
  };
  void find_in(const std::string& folder);
  void find_clip_edit_sub_general(const std::string& folder);
  void add(Structure structure, const std::string& folder);
  bool has(const std::string& folder) const { return folders_.count(folder) > 0; }
  bool is_told_by(const std::string& file) const { return telling_.count(file) > 0; }
  std::optional<Spot> spot_in(const Tree& tree, const Name& name) const;

  std::set<std::string> folders_;                   // in lower case; "" is the top
  std::set<std::string> telling_;                   // files and folders by which structures are recognised
  std::map<std::string, std::vector<Tree>> trees_;  // by the folder whose files they claim
  std::set<Structure> at_the_top_;
};

}  // namespace everytake::card
