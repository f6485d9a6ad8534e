#include "card/recognise.h"

#include <algorithm>
#include <unordered_map>

#include "card/trees.h"

namespace everytake::card {
namespace {

std::vector<Name> names_of(const Listing& listing) {
  std::vector<Name> names;
  for (const auto& file : listing.files) {
    auto name = name_of(file);
    if (!is_left_by_a_system(name)) names.push_back(std::move(name));
  }
  return names;
}

std::string_view without_last(std::string_view text, std::size_t count) {
  return text.substr(0, text.size() - count);
}

// The recording that a video is a later part of, where its folder is that recording's: A_001.R3D, A_002.R3D in A.RDC;
// AB000101.MXF, AB000102.MXF in AB0001.
std::optional<std::string_view> whole_of(const Name& name, const Layout& layout) {
  const auto folder = leaf_of(name.folder);
  const std::string_view stem = name.stem;
  if (folder.ends_with(".rdc") && ends_in_digits(stem, 3) &&
      without_last(stem, 3) == std::string(without_last(folder, 4)) + "_")
    return without_last(folder, 4);
  if (layout.numbered && ends_in_digits(stem, 2) && without_last(stem, 2) == folder) return folder;
  return std::nullopt;
}

// What a camera appends to a recording's name: C0001M01.XML, C0001S03.MP4, C0001T01.JPG, C0001R01.BIM, C0001I01.PPN.
bool ends_in_a_mark(std::string_view stem) {
  return ends_in_digits(stem, 2) && stem.size() > 3 &&
         std::string_view("mstri").find(stem[stem.size() - 3]) != std::string_view::npos;
}

// The stems that the recording of a file may have, the likeliest first.
std::vector<std::string> stems_for(const Name& name, const Layout& layout) {
  const std::string_view stem = name.stem;
  std::vector<std::string> stems{name.stem};
  if (ends_in_a_mark(stem)) stems.emplace_back(without_last(stem, 3));
  if (layout.numbered && ends_in_digits(stem, 2)) stems.emplace_back(without_last(stem, 2));
  if (name.extension == "lrv" && stem.starts_with("gl"))  // GL010034.LRV of GX010034.MP4: from memory
    for (const char* prefix : {"gx", "gh"}) stems.push_back(prefix + std::string(stem.substr(2)));
  return stems;
}

class Gathering {
 public:
  explicit Gathering(const Listing& listing) : names_(names_of(listing)), trees_(listing, names_) {}

  std::vector<ClipFiles> run() {
    for (const auto& name : names_)
      if (auto spot = trees_.spot_of(name))
        (spot->role == FileRole::video ? videos_ : others_).push_back({&name, *spot});
    // A raw recording goes before the smaller one of its name that the camera wrote beside it.
    std::stable_partition(videos_.begin(), videos_.end(),
                          [](const File& file) { return is_raw(file.name->extension); });
    for (const auto& file : videos_) take_video(file);
    for (const auto& file : others_) take_other(file);
    for (auto& clip : clips_) std::sort(clip.parts.begin() + clip.videos, clip.parts.end(), by_path);
    std::sort(clips_.begin(), clips_.end(),
              [](const Clip& a, const Clip& b) { return by_path(a.parts[0], b.parts[0]); });
    return {std::make_move_iterator(clips_.begin()), std::make_move_iterator(clips_.end())};
  }

 private:
  struct File {
    const Name* name;
    Trees::Spot spot;
  };
  struct Clip : ClipFiles {
    std::ptrdiff_t videos = 0;
    bool raw = false;
  };

  static bool by_path(const ClipFiles::Part& a, const ClipFiles::Part& b) { return a.path.native() < b.path.native(); }

  static std::string key(const std::string& scope, std::string_view stem) { return scope + '\0' + std::string(stem); }

  void take_video(const File& file) {
    const auto whole = whole_of(*file.name, *file.spot.layout);
    const auto [it, is_new] = by_key_.emplace(key(file.spot.scope, whole.value_or(file.name->stem)), clips_.size());
    if (is_new) return start_clip(*file.name);
    auto& clip = clips_[it->second];
    if (whole) {
      clip.parts.push_back({file.name->file->path, FileRole::video});
      ++clip.videos;
    } else if (clip.raw && !is_raw(file.name->extension)) {
      clip.parts.push_back({file.name->file->path, FileRole::proxy});
    } else {
      start_clip(*file.name);  // two recordings of one name in one folder: what goes with them goes with the first
    }
  }

  void start_clip(const Name& name) {
    Clip clip;
    clip.name = name.file->path.stem().string();
    clip.parts.push_back({name.file->path, FileRole::video});
    clip.videos = 1;
    clip.raw = is_raw(name.extension);
    clips_.push_back(std::move(clip));
  }

  void take_other(const File& file) {
    for (const auto& stem : stems_for(*file.name, *file.spot.layout)) {
      const auto it = by_key_.find(key(file.spot.scope, stem));
      if (it == by_key_.end()) continue;
      clips_[it->second].parts.push_back({file.name->file->path, file.spot.role});
      return;
    }
    // A folder called "proxy" may hold the only recording there is.
    const bool in_a_camera_tree = file.spot.layout->scattered;
    if (file.spot.role == FileRole::proxy && !in_a_camera_tree && is_movie(file.name->extension))
      start_clip(*file.name);
  }

  const std::vector<Name> names_;
  const Trees trees_;
  std::vector<File> videos_, others_;
  std::vector<Clip> clips_;
  std::unordered_map<std::string, std::size_t> by_key_;  // scope and stem of the recordings
};

}  // namespace

const char* to_string(Structure structure) {
  return layout_of(structure).shown;
}

std::vector<Structure> structures_of(const Listing& listing) {
  const auto found = Trees(listing, names_of(listing)).at_the_top();
  return {found.begin(), found.end()};
}

std::vector<ClipFiles> clips_of(const Listing& listing) {
  return Gathering(listing).run();
}

}  // namespace everytake::card
