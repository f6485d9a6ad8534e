#include "card/layouts.h"

#include <array>
#include <string>

namespace everytake::card {
namespace {

constexpr std::string_view kMovies =
    " mp4 mov mxf mts m2ts avi mkv webm m4v mpg mpeg 3gp wmv nev crm r3d braw insv mod tod ";
constexpr std::string_view kRaw = " nev crm r3d braw ";
constexpr std::string_view kRawAndCinema = " nev crm r3d braw mxf ";

constexpr LayoutFolder kM4root[] = {{"clip", " mp4 mxf ", FileRole::video},
                                    {"clip", " xml bim klv ", FileRole::sidecar},
                                    {"sub", " mp4 mxf ", FileRole::proxy},
                                    {"thmbnl", " jpg bmp ", FileRole::thumbnail}};
constexpr LayoutFolder kXdroot[] = {{"clip", " mxf mp4 ", FileRole::video},
                                    {"clip", " xml klv bim ppn smi ", FileRole::sidecar},
                                    {"sub", " mp4 mxf ", FileRole::proxy},
                                    {"thmbnl", " jpg bmp ", FileRole::thumbnail}};
constexpr LayoutFolder kAvchd[] = {{"stream", " mts m2ts ", FileRole::video}};
constexpr LayoutFolder kContentsClips[] = {{"", " mxf mp4 crm ", FileRole::video},
                                           {"", " xml cif sif cpf ", FileRole::sidecar},
                                           {"", " jpg thm ", FileRole::thumbnail}};
constexpr LayoutFolder kContentsSplit[] = {{"video", " mxf ", FileRole::video},
                                           {"audio", " mxf ", FileRole::audio},
                                           {"clip", " xml ", FileRole::sidecar},
                                           {"proxy", " mp4 mov avi ", FileRole::proxy},
                                           {"icon", " bmp jpg ", FileRole::thumbnail}};
constexpr LayoutFolder kAnywhere[] = {{"", kMovies, FileRole::video},
                                      {"", " lrv lrf ", FileRole::proxy},
                                      {"", " xml srt bim klv ", FileRole::sidecar},
                                      {"", " wav ", FileRole::audio},
                                      {"", " thm jpg jpeg scr ", FileRole::thumbnail}};

constexpr std::array<Layout, 7> kLayouts{{
    {"M4ROOT folders", true, false, kM4root},
    {"XDROOT folders", true, false, kXdroot},
    {"AVCHD folders", true, false, kAvchd},
    {"CONTENTS/CLIPS001 folders", false, true, kContentsClips},
    {"CONTENTS folders with separate sound", true, true, kContentsSplit},
    {"DCIM folders", false, false, kAnywhere},
    {"raw and cinema files at the top", false, false, kAnywhere},
}};
constexpr Layout kNothing{"", false, false, {}};

}  // namespace

const Layout& layout_of(Structure structure) {
  return kLayouts.at(static_cast<std::size_t>(structure));
}
const Layout& loose_layout() {
  return layout_of(Structure::at_the_root);
}
const Layout& nothing_layout() {
  return kNothing;
}

bool lists(std::string_view extensions, std::string_view extension) {
  if (extension.empty() || extension.find(' ') != std::string_view::npos) return false;
  return extensions.find(" " + std::string(extension) + " ") != std::string_view::npos;
}

bool is_movie(std::string_view extension) {
  return lists(kMovies, extension);
}
bool is_raw(std::string_view extension) {
  return lists(kRaw, extension);
}
bool is_raw_or_cinema(std::string_view extension) {
  return lists(kRawAndCinema, extension);
}

}  // namespace everytake::card
