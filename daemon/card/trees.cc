#include "card/trees.h"

#include <algorithm>
#include <array>

#include "base/text.h"

namespace everytake::card {
namespace {

std::string join(std::string_view folder, std::string_view name) {
  return folder.empty() ? std::string(name) : std::string(folder) + "/" + std::string(name);
}

// "clips001": a card starts the next of them when one is full.
bool is_clips_folder(std::string_view leaf) {
  return leaf.size() == 8 && leaf.starts_with("clips") && ends_in_digits(leaf, 3);
}

bool begins_a_card(Structure structure, std::string_view folder) {
  if (folder.starts_with("private/")) folder.remove_prefix(8);
  switch (structure) {
    case Structure::m4root:
      return folder == "m4root";
    case Structure::xdroot:
      return folder == "xdroot" || folder.empty();
    case Structure::avchd:
      return folder == "avchd/bdmv" || folder == "bdmv";
    case Structure::contents_clips:
      return parent_of(folder) == "contents";
    case Structure::contents_split:
      return folder == "contents";
    case Structure::dcim:
      return folder == "dcim";
    case Structure::at_the_root:
      return false;  // told by its files
  }
  return false;
}

bool is_raw_at_the_top(const Name& name) {
  if (!is_raw_or_cinema(name.extension)) return false;
  const std::string_view above = parent_of(name.folder);
  return name.folder.empty() || (name.folder.ends_with(".rdc") && (above.empty() || above.ends_with(".rdm")));
}

bool is_proxy_folder(std::string_view leaf) {
  return leaf == "proxy" || leaf == "proxies" || leaf == "sub";
}

}  // namespace

Trees::Trees(const Listing& listing, const std::vector<Name>& names) {
  for (const auto& folder : listing.folders) folders_.insert(lower_case(folder.native()));
  folders_.insert("");
  for (const auto& name : names) {
    if (is_raw_at_the_top(name)) at_the_top_.insert(Structure::at_the_root);
    if (name.stem == "index" || name.stem == "movieobj" || name.stem == "movieobject" || name.stem == "lastclip")
      telling_.insert(join(name.folder, name.stem));
    for (std::string_view folder = name.folder; !folder.empty(); folder = parent_of(folder))
      if (leaf_of(folder) == "dcim") telling_.insert(std::string(folder));  // there is a file in it
  }
  for (const auto& folder : folders_) find_in(folder);
}

void Trees::find_in(const std::string& folder) {
  const auto leaf = leaf_of(folder);
  if (leaf == "m4root") add(Structure::m4root, folder);
  if (leaf == "xdroot")
    add(Structure::xdroot, folder);
  else
    find_clip_edit_sub_general(folder);
  const auto told_by = [&](std::string_view file) { return is_told_by(join(folder, file)); };
  if (leaf == "bdmv" && (told_by("index") || told_by("movieobj") || told_by("movieobject")))
    add(Structure::avchd, folder);
  if (is_clips_folder(leaf) && leaf_of(parent_of(folder)) == "contents") add(Structure::contents_clips, folder);
  if (leaf == "contents" && has(folder + "/clip") && (has(folder + "/video") || told_by("lastclip")))
    add(Structure::contents_split, folder);
  if (leaf == "dcim" && is_told_by(folder)) {
    add(Structure::dcim, folder);
    trees_[join(parent_of(folder), "misc")].push_back({&nothing_layout(), ""});
  }
}

// XDROOT without its name: what else lies beside these folders is not the structure's.
void Trees::find_clip_edit_sub_general(const std::string& folder) {
  static constexpr std::array<std::string_view, 6> kOwn{"clip", "edit", "sub", "general", "thmbnl", "userdata"};
  if (!std::all_of(kOwn.begin(), kOwn.begin() + 4, [&](auto name) { return has(join(folder, name)); })) return;
  for (const auto name : kOwn) trees_[join(folder, name)].push_back({&layout_of(Structure::xdroot), folder});
  if (begins_a_card(Structure::xdroot, folder)) at_the_top_.insert(Structure::xdroot);
}

void Trees::add(Structure structure, const std::string& folder) {
  trees_[folder].push_back({&layout_of(structure), folder});
  if (begins_a_card(structure, folder)) at_the_top_.insert(structure);
}

std::set<Structure> Trees::at_the_top() const {
  return at_the_top_;
}

std::optional<Trees::Spot> Trees::spot_of(const Name& name) const {
  for (std::string_view folder = name.folder; !folder.empty(); folder = parent_of(folder)) {
    const auto it = trees_.find(std::string(folder));
    if (it == trees_.end()) continue;
    for (const auto& tree : it->second)
      if (auto spot = spot_in(tree, name)) return spot;
    return std::nullopt;
  }
  return spot_in({&loose_layout(), ""}, name);
}

std::optional<Trees::Spot> Trees::spot_in(const Tree& tree, const Name& name) const {
  for (const auto& each : tree.layout->folders) {
    const bool here = each.folder.empty() || name.folder == join(tree.folder, each.folder);
    if (!here || !lists(each.extensions, name.extension)) continue;
    Spot spot{tree.layout, each.role, tree.layout->scattered ? tree.folder : name.folder};
    if (each.folder.empty() && each.role == FileRole::video && is_proxy_folder(leaf_of(name.folder))) {
      const auto above = parent_of(name.folder);
      const auto beside = join(above, "clip");
      spot.role = FileRole::proxy;
      spot.scope = has(beside) ? beside : std::string(above);
    }
    return spot;
  }
  return std::nullopt;
}

}  // namespace everytake::card
