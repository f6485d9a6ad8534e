#include "card/recognise.h"

#include <algorithm>
#include <cctype>
#include <map>
#include <set>
#include <unordered_map>

namespace everytake {
namespace {

std::string lower(std::string text) {
  for (auto& c : text) c = static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
  return text;
}

// A file as names are compared: without regard to case.
struct Name {
  const CardFile* file;
  std::string path;       // lower case
  std::string folder;     // "private/m4root/clip"
  std::string stem;       // "c0001"
  std::string extension;  // "mp4"
};

Name name_of(const CardFile& file) {
  Name name{&file, lower(file.path.string()), lower(file.path.parent_path().string()), lower(file.path.stem().string()),
            lower(file.path.extension().string())};
  if (!name.extension.empty()) name.extension.erase(0, 1);
  return name;
}

const std::set<std::string> kMovie{"mp4", "mov",  "mxf", "mts", "m2ts", "avi", "mkv", "webm", "m4v",
                                   "mpg", "mpeg", "3gp", "wmv", "nev",  "crm", "r3d", "braw", "insv"};
const std::set<std::string> kRawMovie{"r3d", "braw", "mxf", "crm"};
const std::set<std::string> kSidecar{"xml", "bim", "klv", "cpf", "cif", "sif", "srt", "wav", "smi", "ppn"};
const std::set<std::string> kThumbnail{"jpg", "jpeg", "thm", "bmp", "scr"};
const std::set<std::string> kProxy{"lrv", "lrf"};

bool left_by_a_system(const std::string& path) {
  for (std::size_t start = 0; start <= path.size();) {
    const auto end = std::min(path.find('/', start), path.size());
    const auto part = path.substr(start, end - start);
    if (part.starts_with("._") || part.starts_with(".trash") || part.starts_with(".spotlight") ||
        part == ".fseventsd" || part == "system volume information" || part == "$recycle.bin")
      return true;
    start = end + 1;
  }
  return false;
}

// Whether `folder` is `wanted` or lies in PRIVATE/ beside it: "m4root/clip" for "private/m4root/clip".
bool is_at(const std::string& folder, const std::string& wanted) {
  return folder == wanted || folder == "private/" + wanted;
}

bool lies_below(const std::string& folder, const std::string& wanted) {
  return is_at(folder, wanted) || folder.starts_with(wanted + "/") || folder.starts_with("private/" + wanted + "/");
}

bool in_dcf_folder(const std::string& folder) {
  // DCF names a folder NNNXXXXX: three digits, then five characters.
  if (!folder.starts_with("dcim/")) return false;
  const auto name = folder.substr(5);
  return name.size() >= 3 && name.find('/') == std::string::npos &&
         std::all_of(name.begin(), name.begin() + 3, [](unsigned char c) { return std::isdigit(c) != 0; });
}

struct Rule {
  Structure structure;
  bool (*has_clip)(const Name& name);  // the file is a recording's video on such a card
};

// One row a structure.
const Rule kRules[] = {
    {Structure::m4root, [](const Name& n) { return is_at(n.folder, "m4root/clip") && kMovie.count(n.extension) > 0; }},
    {Structure::xdroot,
     [](const Name& n) {
       return (is_at(n.folder, "xdroot/clip") || n.folder == "clip") && (n.extension == "mxf" || n.extension == "mp4");
     }},
    {Structure::avchd,
     [](const Name& n) {
       return (is_at(n.folder, "avchd/bdmv/stream") || n.folder == "bdmv/stream") &&
              (n.extension == "mts" || n.extension == "m2ts");
     }},
    {Structure::contents_clips,
     [](const Name& n) {
       return lies_below(n.folder, "contents/clips001") &&
              (n.extension == "mxf" || n.extension == "mp4" || n.extension == "crm");
     }},
    {Structure::contents_split,
     [](const Name& n) { return is_at(n.folder, "contents/video") && n.extension == "mxf"; }},
    {Structure::dcim, [](const Name& n) { return in_dcf_folder(n.folder) && kMovie.count(n.extension) > 0; }},
    {Structure::at_the_root,
     [](const Name& n) {
       const bool cinema_folder = n.folder.ends_with(".rdc") || n.folder.ends_with(".rdm");
       return kRawMovie.count(n.extension) > 0 && (n.folder.empty() || cinema_folder);
     }},
};

struct Folders {
  explicit Folders(const Listing& listing) {
    for (const auto& folder : listing.folders) all.insert(lower(folder.string()));
  }
  bool has(const std::string& folder) const { return all.count(folder) || all.count("private/" + folder); }
  std::set<std::string> all;
};

bool laid_out_as(Structure structure, const Folders& folders, const std::vector<Name>& names) {
  const auto any = [&](auto test) { return std::any_of(names.begin(), names.end(), test); };
  switch (structure) {
    case Structure::m4root:
      return folders.has("m4root");
    case Structure::xdroot:
      return folders.has("xdroot") ||
             (folders.has("clip") && folders.has("edit") && folders.has("sub") && folders.has("general"));
    case Structure::avchd:
      return any([](const Name& n) {
        return (n.stem == "index" || n.stem == "movieobj" || n.stem == "movieobject") && n.folder.ends_with("bdmv");
      });
    case Structure::contents_clips:
      return folders.has("contents/clips001");
    case Structure::contents_split:
      return folders.has("contents/clip") && folders.has("contents/video");
    case Structure::dcim:
      return any([](const Name& n) { return in_dcf_folder(n.folder) && kMovie.count(n.extension); });
    case Structure::at_the_root:
      return any(kRules[static_cast<std::size_t>(Structure::at_the_root)].has_clip);
  }
  return false;
}

std::vector<Name> names_of(const Listing& listing) {
  std::vector<Name> names;
  for (const auto& file : listing.files) {
    auto name = name_of(file);
    if (!left_by_a_system(name.path)) names.push_back(std::move(name));
  }
  return names;
}

// "sub/c0001s03" → "c0001": what a camera appends to a clip's name for the files that go with it.
bool goes_with(const std::string& stem, const std::string& clip) {
  if (!stem.starts_with(clip)) return false;
  const auto rest = stem.substr(clip.size());
  if (rest.empty()) return true;
  static const std::set<char> kMark{'m', 's', 't', 'r', 'i'};  // M01.XML S03.MP4 T01.JPG R01.BIM I01.PPN
  return rest.size() == 3 && kMark.count(rest[0]) && std::isdigit(static_cast<unsigned char>(rest[1])) &&
         std::isdigit(static_cast<unsigned char>(rest[2]));
}

// The folder a card's tree hangs from: files that go with a clip lie below it.
std::string tree_of(const std::string& folder) {
  const auto slash = folder.rfind('/');
  return slash == std::string::npos ? "" : folder.substr(0, slash);
}

std::optional<FileRole> role_of(const Name& name, const Name& clip) {
  if (name.file == clip.file || !goes_with(name.stem, clip.stem)) {
    // Split essence: AUDIO/<id>nn.MXF of VIDEO/<id>.MXF.
    const bool sound = name.folder.ends_with("contents/audio") && clip.folder.ends_with("contents/video");
    if (sound && name.stem.starts_with(clip.stem)) return FileRole::audio;
    return std::nullopt;
  }
  const bool near = name.folder == clip.folder || name.folder.starts_with(tree_of(clip.folder));
  if (!near) return std::nullopt;
  if (kSidecar.count(name.extension)) return FileRole::sidecar;
  if (kThumbnail.count(name.extension)) return FileRole::thumbnail;
  const bool beside = name.folder != clip.folder || name.stem != clip.stem;
  if (kProxy.count(name.extension) || (kMovie.count(name.extension) && beside)) return FileRole::proxy;
  return std::nullopt;
}

// Folders of proxies: what lies there has a picture and is no recording.
bool proxy_folder(const std::string& folder) {
  const auto leaf = folder.substr(folder.rfind('/') + 1);
  return leaf == "sub" || leaf == "proxy" || leaf == "thmbnl";
}

std::vector<const Name*> videos_of(const std::vector<Name>& names, const std::vector<Structure>& structures) {
  std::vector<const Name*> videos;
  for (const auto& name : names) {
    const bool known = std::any_of(structures.begin(), structures.end(),
                                   [&](Structure s) { return kRules[static_cast<std::size_t>(s)].has_clip(name); });
    const bool any = structures.empty() && kMovie.count(name.extension) && !proxy_folder(name.folder);
    if (known || any) videos.push_back(&name);
  }
  return videos;
}

}  // namespace

const char* to_string(Structure structure) {
  switch (structure) {
    case Structure::m4root:
      return "M4ROOT folders";
    case Structure::xdroot:
      return "XDROOT folders";
    case Structure::avchd:
      return "AVCHD folders";
    case Structure::contents_clips:
      return "CONTENTS/CLIPS001 folders";
    case Structure::contents_split:
      return "CONTENTS folders with separate sound";
    case Structure::dcim:
      return "DCIM folders";
    case Structure::at_the_root:
      return "cinema files at the top";
  }
  return "";
}

std::vector<Structure> structures_of(const Listing& listing) {
  const Folders folders(listing);
  const auto names = names_of(listing);
  std::vector<Structure> found;
  for (const auto& rule : kRules)
    if (laid_out_as(rule.structure, folders, names)) found.push_back(rule.structure);
  return found;
}

std::vector<ClipFiles> clips_of(const Listing& listing) {
  const auto names = names_of(listing);
  const auto videos = videos_of(names, structures_of(listing));
  // Files that may go with a clip share the start of its stem: looked up by the clip's whole stem and by what is left
  // when the camera's three-letter mark is taken off.
  std::unordered_multimap<std::string, const Name*> by_stem;
  for (const auto& name : names) {
    by_stem.emplace(name.stem, &name);
    if (name.stem.size() > 3) by_stem.emplace(name.stem.substr(0, name.stem.size() - 3), &name);
    if (name.stem.size() > 2 && name.folder.ends_with("contents/audio"))
      by_stem.emplace(name.stem.substr(0, name.stem.size() - 2), &name);
  }
  const std::set<const Name*> is_video(videos.begin(), videos.end());
  std::vector<ClipFiles> clips;
  for (const auto* video : videos) {
    ClipFiles clip{video->file->path.stem().string(), {{video->file->path, FileRole::video}}};
    std::map<std::string, FileRole> others;  // by path, so that the order is always the same
    const auto [begin, end] = by_stem.equal_range(video->stem);
    for (auto it = begin; it != end; ++it) {
      if (is_video.count(it->second)) continue;
      if (const auto role = role_of(*it->second, *video)) others.emplace(it->second->file->path.string(), *role);
    }
    for (const auto& [path, role] : others) clip.parts.push_back({path, role});
    clips.push_back(std::move(clip));
  }
  return clips;
}

}  // namespace everytake
