#include "card/recognise.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <set>

#include "card/scan.h"
#include "support/mem_fs.h"
#include "support/rooms.h"

namespace everytake {
namespace {

using testing::ElementsAre;
using testing::IsEmpty;
using testing::SizeIs;
using Texts = std::vector<std::string>;

// A listing of files of one byte, with the folders they need.
Listing listing(const Texts& paths) {
  test::MemFs fs;
  for (const auto& path : paths) fs.put(path, "x");
  return *scan(fs, {});
}

const char* role(FileRole role) {
  static constexpr const char* kNames[] = {"video", "audio", "sidecar", "proxy", "thumbnail"};
  return kNames[static_cast<int>(role)];
}

// "C0001: video A/C0001.MP4, sidecar A/C0001M01.XML"
Texts clips(const Texts& paths) {
  Texts all;
  for (const auto& clip : clips_of(listing(paths))) {
    std::string text = clip.name + ":";
    for (const auto& part : clip.parts) text += std::string(" ") + role(part.role) + " " + part.path.native();
    all.push_back(text);
  }
  return all;
}

struct Card {
  const char* what;
  Texts files;
  std::vector<Structure> structures;
  Texts clips;
};

// Layouts: DCF by JEITA CP-3461 (2010); the others as cameras write them, common practice.
const Card kCards[] = {
    {"M4ROOT in PRIVATE",
     {"PRIVATE/M4ROOT/CLIP/C0001.MP4", "PRIVATE/M4ROOT/CLIP/C0001M01.XML", "PRIVATE/M4ROOT/CLIP/C0002.MP4",
      "PRIVATE/M4ROOT/SUB/C0001S03.MP4", "PRIVATE/M4ROOT/THMBNL/C0001T01.JPG", "PRIVATE/M4ROOT/MEDIAPRO.XML",
      "PRIVATE/M4ROOT/STATUS.BIN", "PRIVATE/M4ROOT/GENERAL/LUT/A.CUBE", "PRIVATE/M4ROOT/TAKE/T0001.MP4"},
     {Structure::m4root},
     {"C0001: video PRIVATE/M4ROOT/CLIP/C0001.MP4 sidecar PRIVATE/M4ROOT/CLIP/C0001M01.XML "
      "proxy PRIVATE/M4ROOT/SUB/C0001S03.MP4 thumbnail PRIVATE/M4ROOT/THMBNL/C0001T01.JPG",
      "C0002: video PRIVATE/M4ROOT/CLIP/C0002.MP4"}},
    {"M4ROOT at the top, in lower case, with a prefix before the number",
     {"m4root/clip/l1_c0007.mp4", "m4root/clip/l1_c0007m01.xml"},
     {Structure::m4root},
     {"l1_c0007: video m4root/clip/l1_c0007.mp4 sidecar m4root/clip/l1_c0007m01.xml"}},
    {"a proxy whose recording is gone is no recording",
     {"M4ROOT/CLIP/C0001M01.XML", "M4ROOT/SUB/C0001S03.MP4"},
     {Structure::m4root},
     {}},
    {"XDROOT",
     {"XDROOT/Clip/Clip0001.MXF", "XDROOT/Clip/Clip0001M01.XML", "XDROOT/Clip/Clip0001R01.BIM",
      "XDROOT/Clip/Clip0001M02.KLV", "XDROOT/Sub/Clip0001S01.MP4", "XDROOT/Edit/E0001.XML",
      "XDROOT/Thmbnl/Clip0001T01.JPG", "XDROOT/INDEX.XML", "XDROOT/DISCMETA.XML"},
     {Structure::xdroot},
     {"Clip0001: video XDROOT/Clip/Clip0001.MXF sidecar XDROOT/Clip/Clip0001M01.XML "
      "sidecar XDROOT/Clip/Clip0001M02.KLV sidecar XDROOT/Clip/Clip0001R01.BIM proxy XDROOT/Sub/Clip0001S01.MP4 "
      "thumbnail XDROOT/Thmbnl/Clip0001T01.JPG"}},
    {"XDROOT in PRIVATE", {"PRIVATE/XDROOT/Clip/A.MP4"}, {Structure::xdroot}, {"A: video PRIVATE/XDROOT/Clip/A.MP4"}},
    {"XDROOT's folders without its name, and something beside them",
     {"Clip/A.MXF", "Edit/e.xml", "Sub/AS01.MP4", "General/g", "extra/hand.mov"},
     {Structure::xdroot},
     {"A: video Clip/A.MXF proxy Sub/AS01.MP4", "hand: video extra/hand.mov"}},
    {"AVCHD in PRIVATE",
     {"PRIVATE/AVCHD/BDMV/INDEX.BDM", "PRIVATE/AVCHD/BDMV/MOVIEOBJ.BDM", "PRIVATE/AVCHD/BDMV/STREAM/00000.MTS",
      "PRIVATE/AVCHD/BDMV/STREAM/00001.MTS", "PRIVATE/AVCHD/BDMV/CLIPINF/00000.CPI",
      "PRIVATE/AVCHD/BDMV/PLAYLIST/00000.MPL", "PRIVATE/AVCHD/AVCHDTN/THUMB.TDT"},
     {Structure::avchd},
     {"00000: video PRIVATE/AVCHD/BDMV/STREAM/00000.MTS", "00001: video PRIVATE/AVCHD/BDMV/STREAM/00001.MTS"}},
    {"AVCHD without PRIVATE",
     {"AVCHD/BDMV/MOVIEOBJ.BDM", "AVCHD/BDMV/STREAM/00000.MTS"},
     {Structure::avchd},
     {"00000: video AVCHD/BDMV/STREAM/00000.MTS"}},
    {"BDMV without an index is no AVCHD, its streams are recordings all the same",
     {"AVCHD/BDMV/STREAM/00000.MTS"},
     {},
     {"00000: video AVCHD/BDMV/STREAM/00000.MTS"}},
    {"CONTENTS/CLIPS001 with a recording in two parts",
     {"CONTENTS/CLIPS001/AA0001/AA000101.MXF", "CONTENTS/CLIPS001/AA0001/AA000102.MXF",
      "CONTENTS/CLIPS001/AA0001/AA000101.CIF", "CONTENTS/CLIPS001/AA0001/AA0001.XML",
      "CONTENTS/CLIPS001/AA0002/AA000201.MXF", "CONTENTS/CLIPS001/INDEX.MIF"},
     {Structure::contents_clips},
     {"AA000101: video CONTENTS/CLIPS001/AA0001/AA000101.MXF video CONTENTS/CLIPS001/AA0001/AA000102.MXF "
      "sidecar CONTENTS/CLIPS001/AA0001/AA0001.XML sidecar CONTENTS/CLIPS001/AA0001/AA000101.CIF",
      "AA000201: video CONTENTS/CLIPS001/AA0002/AA000201.MXF"}},
    {"CONTENTS with all recordings in one folder, and a second one",
     {"CONTENTS/CLIPS001/L1C001.CRM", "CONTENTS/CLIPS001/L1C002.MP4", "CONTENTS/CLIPS001/L1C002.XML",
      "CONTENTS/CLIPS002/L1C003.MP4"},
     {Structure::contents_clips},
     {"L1C001: video CONTENTS/CLIPS001/L1C001.CRM",
      "L1C002: video CONTENTS/CLIPS001/L1C002.MP4 sidecar CONTENTS/CLIPS001/L1C002.XML",
      "L1C003: video CONTENTS/CLIPS002/L1C003.MP4"}},
    {"CONTENTS with sound in files of its own",
     {"CONTENTS/CLIP/0001AB.XML", "CONTENTS/VIDEO/0001AB.MXF", "CONTENTS/AUDIO/0001AB00.MXF",
      "CONTENTS/AUDIO/0001AB01.MXF", "CONTENTS/ICON/0001AB.BMP", "CONTENTS/PROXY/0001AB.MP4",
      "CONTENTS/VOICE/0001AB00.WAV", "LASTCLIP.TXT"},
     {Structure::contents_split},
     {"0001AB: video CONTENTS/VIDEO/0001AB.MXF audio CONTENTS/AUDIO/0001AB00.MXF audio CONTENTS/AUDIO/0001AB01.MXF "
      "sidecar CONTENTS/CLIP/0001AB.XML thumbnail CONTENTS/ICON/0001AB.BMP proxy CONTENTS/PROXY/0001AB.MP4"}},
    {"DCIM with movies and stills: one number in one folder is one object",
     {"DCIM/100ABCDE/ABCD0001.MOV", "DCIM/100ABCDE/ABCD0001.THM", "DCIM/100ABCDE/ABCD0001.LRV",
      "DCIM/100ABCDE/ABCD0002.JPG", "DCIM/101ABCDE/ABCD0001.MOV", "DCIM/101ABCDE/ABCD0001.JPG", "MISC/M0001.MP4"},
     {Structure::dcim},
     {"ABCD0001: video DCIM/100ABCDE/ABCD0001.MOV proxy DCIM/100ABCDE/ABCD0001.LRV "
      "thumbnail DCIM/100ABCDE/ABCD0001.THM",
      "ABCD0001: video DCIM/101ABCDE/ABCD0001.MOV thumbnail DCIM/101ABCDE/ABCD0001.JPG"}},
    {"DCIM of an action camera: chapters are candidates, each of its own",
     {"DCIM/100LITTL/GX010034.MP4", "DCIM/100LITTL/GX020034.MP4", "DCIM/100LITTL/GL010034.LRV",
      "DCIM/100LITTL/GX010034.THM"},
     {Structure::dcim},
     {"GX010034: video DCIM/100LITTL/GX010034.MP4 proxy DCIM/100LITTL/GL010034.LRV "
      "thumbnail DCIM/100LITTL/GX010034.THM",
      "GX020034: video DCIM/100LITTL/GX020034.MP4"}},
    {"DCIM with a raw movie and its smaller twin, and a text track",
     {"DCIM/100ABCDE/DSC_0001.MP4", "DCIM/100ABCDE/DSC_0001.NEV", "DCIM/100ABCDE/DSC_0002.MP4",
      "DCIM/100ABCDE/DSC_0002.SRT"},
     {Structure::dcim},
     {"DSC_0001: video DCIM/100ABCDE/DSC_0001.NEV proxy DCIM/100ABCDE/DSC_0001.MP4",
      "DSC_0002: video DCIM/100ABCDE/DSC_0002.MP4 sidecar DCIM/100ABCDE/DSC_0002.SRT"}},
    {"DCIM of a telephone or a flying camera, whose folders are not DCF's",
     {"DCIM/Camera/20260516.mp4", "DCIM/L1_001/L1_0001.MP4"},
     {Structure::dcim},
     {"20260516: video DCIM/Camera/20260516.mp4", "L1_0001: video DCIM/L1_001/L1_0001.MP4"}},
    {"DCIM with stills alone is a card with no recording", {"DCIM/100ABCDE/ABCD0001.JPG"}, {Structure::dcim}, {}},
    {"raw in folders of parts",
     {"A001.RDM/A001_C002_0516AB.RDC/A001_C002_0516AB_001.R3D",
      "A001.RDM/A001_C002_0516AB.RDC/A001_C002_0516AB_002.R3D",
      "A001.RDM/A001_C003_0516AB.RDC/A001_C003_0516AB_001.R3D"},
     {Structure::at_the_root},
     {"A001_C002_0516AB_001: video A001.RDM/A001_C002_0516AB.RDC/A001_C002_0516AB_001.R3D "
      "video A001.RDM/A001_C002_0516AB.RDC/A001_C002_0516AB_002.R3D",
      "A001_C003_0516AB_001: video A001.RDM/A001_C003_0516AB.RDC/A001_C003_0516AB_001.R3D"}},
    {"raw and cinema files at the top, proxies in a folder",
     {"A001_001.braw", "A002_001.mxf", "Proxy/A001_001.mp4", "A001_001.wav"},
     {Structure::at_the_root},
     {"A001_001: video A001_001.braw audio A001_001.wav proxy Proxy/A001_001.mp4", "A002_001: video A002_001.mxf"}},
    {"any folder",
     {"stuff/clip.mov", "stuff/readme.txt", "stuff/clip.xml", "stuff/other.jpg", "take.mkv", "song.wav"},
     {},
     {"clip: video stuff/clip.mov sidecar stuff/clip.xml", "take: video take.mkv"}},
    {"a folder with a card's tree in it is no card, its recordings are found",
     {"day1/L-1/PRIVATE/M4ROOT/CLIP/C0001.MP4", "day1/L-1/PRIVATE/M4ROOT/SUB/C0001S03.MP4",
      "day2/L-1/PRIVATE/M4ROOT/CLIP/C0001.MP4", "day2/L-1/PRIVATE/M4ROOT/CLIP/C0001M01.XML"},
     {},
     {"C0001: video day1/L-1/PRIVATE/M4ROOT/CLIP/C0001.MP4 proxy day1/L-1/PRIVATE/M4ROOT/SUB/C0001S03.MP4",
      "C0001: video day2/L-1/PRIVATE/M4ROOT/CLIP/C0001.MP4 sidecar day2/L-1/PRIVATE/M4ROOT/CLIP/C0001M01.XML"}},
    {"the clip folder and the proxies' alone",
     {"CLIP/C0001.MP4", "SUB/C0001S03.MP4"},
     {},
     {"C0001: video CLIP/C0001.MP4 proxy SUB/C0001S03.MP4"}},
    {"a folder called proxy that holds the only recording", {"proxy/C0001.MP4"}, {}, {"C0001: video proxy/C0001.MP4"}},
    {"several structures and a loose file on one card",
     {"PRIVATE/M4ROOT/CLIP/C0001.MP4", "DCIM/100ABCDE/ABCD0001.JPG", "PRIVATE/AVCHD/BDMV/INDEX.BDM",
      "PRIVATE/AVCHD/BDMV/STREAM/00000.MTS", "memo.mov"},
     {Structure::m4root, Structure::avchd, Structure::dcim},
     {"00000: video PRIVATE/AVCHD/BDMV/STREAM/00000.MTS", "C0001: video PRIVATE/M4ROOT/CLIP/C0001.MP4",
      "memo: video memo.mov"}},
    {"what computers leave behind",
     {"M4ROOT/CLIP/C0001.MP4", "M4ROOT/CLIP/._C0001.MP4", "._M4ROOT/a.mp4", ".Trashes/501/C0009.MP4",
      ".Trash-1000/files/C0008.MP4", "System Volume Information/x.mp4", "$RECYCLE.BIN/C0007.MP4",
      ".Spotlight-V100/Store-V2/a.mov", ".fseventsd/a.mp4"},
     {Structure::m4root},
     {"C0001: video M4ROOT/CLIP/C0001.MP4"}},
    {"an empty card", {}, {}, {}},
};

TEST(Recognise, FindsStructuresAndRecordingsByNamesAlone) {
  for (const auto& card : kCards) {
    SCOPED_TRACE(card.what);
    EXPECT_EQ(structures_of(listing(card.files)), card.structures);
    EXPECT_EQ(clips(card.files), card.clips);
  }
}

TEST(Recognise, MindsNoCase) {
  for (const auto& card : kCards) {
    Texts lower = card.files;
    for (auto& path : lower)
      for (auto& c : path) c = c >= 'A' && c <= 'Z' ? static_cast<char>(c + 32) : c;
    SCOPED_TRACE(card.what);
    EXPECT_EQ(structures_of(listing(lower)), card.structures);
    EXPECT_THAT(clips(lower), SizeIs(card.clips.size()));
  }
}

TEST(Recognise, KeepsAnEmptyVideoAsARecording) {
  test::MemFs fs;
  fs.put("PRIVATE/M4ROOT/CLIP/C0001.MP4", "");
  EXPECT_THAT(clips_of(*scan(fs, {})), SizeIs(1));
}

TEST(Recognise, TakesTheLongerNameForNoFileOfTheShorter) {
  EXPECT_THAT(clips({"M4ROOT/CLIP/C0001.MP4", "M4ROOT/CLIP/C00011.MP4", "M4ROOT/CLIP/C00011M01.XML"}),
              ElementsAre("C0001: video M4ROOT/CLIP/C0001.MP4",
                          "C00011: video M4ROOT/CLIP/C00011.MP4 sidecar M4ROOT/CLIP/C00011M01.XML"));
}

TEST(Recognise, PrefersTheWholeNameOverTheOneWithoutAMark) {
  EXPECT_THAT(clips({"a/take.mp4", "a/takeS01.mp4", "a/takeS01.xml", "a/takeM01.xml"}),
              ElementsAre("take: video a/take.mp4 sidecar a/takeM01.xml",
                          "takeS01: video a/takeS01.mp4 sidecar a/takeS01.xml"));
}

TEST(Recognise, KeepsTwoRecordingsOfOneNameApart) {
  EXPECT_THAT(clips({"a/x.mov", "a/x.mp4", "a/x.xml"}),
              ElementsAre("x: video a/x.mov sidecar a/x.xml", "x: video a/x.mp4"));
  EXPECT_THAT(clips({"a/X.mov", "a/x.mov"}), SizeIs(2));
}

TEST(Recognise, GivesNoFileToTwoRecordings) {
  for (const auto& card : kCards) {
    std::set<std::string> seen;
    for (const auto& clip : clips_of(listing(card.files))) {
      ASSERT_FALSE(clip.parts.empty());
      EXPECT_EQ(clip.parts[0].role, FileRole::video);
      for (const auto& part : clip.parts) EXPECT_TRUE(seen.insert(part.path.native()).second) << part.path;
    }
  }
}

TEST(Recognise, TakesHostileNames) {
  EXPECT_THAT(clips({"a/\xff\xfe.mp4", "a/\n.mov", "a/\x1b[2J.mp4", "a/-rf.mp4", "a/..mp4", "a/.mp4", "a/...mov",
                     std::string(251, 'n') + ".mp4", "a/name mp4", "a/x.mp4 mov"}),
              ElementsAre("\n: video a/\n.mov", "\x1b[2J: video a/\x1b[2J.mp4", "-rf: video a/-rf.mp4",
                          "..: video a/...mov", ".: video a/..mp4", "\xff\xfe: video a/\xff\xfe.mp4",
                          std::string(251, 'n') + ": video " + std::string(251, 'n') + ".mp4"));
}

TEST(Recognise, HasAReadableNameForEachStructure) {
  std::set<std::string> names;
  for (int i = 0; i <= static_cast<int>(Structure::at_the_root); ++i)
    names.insert(to_string(static_cast<Structure>(i)));
  EXPECT_THAT(names, SizeIs(7));
  EXPECT_EQ(names.count(""), 0U);
}

// Random trees out of the words that mean something.
TEST(Recognise, LosesAndDoublesNothingInAnyTree) {
  const Texts words{"private", "m4root", "clip", "sub",      "xdroot", "edit",     "general", "avchd", "bdmv",
                    "stream",  "dcim",   "misc", "contents", "video",  "clips001", "a.rdc",   "proxy", "stuff"};
  const Texts files{"index.bdm", "c1.mp4",   "c1m01.xml", "c1s03.mp4", "a_001.r3d",
                    "00001.mts", "._c1.mp4", "c1.mxf",    "c1.thm"};
  std::uint32_t state = 1;
  const auto pick = [&](std::size_t count) {
    state = state * 1664525U + 1013904223U;  // Numerical Recipes, section 7.1
    return (state >> 16) % count;
  };
  for (int round = 0; round < 400; ++round) {
    std::set<std::string> tree;
    for (int i = 0; i < 12; ++i) {
      std::string path;
      for (auto depth = pick(4); depth > 0; --depth) path += words[pick(words.size())] + "/";
      tree.insert(path + files[pick(files.size())]);
    }
    const auto found = clips_of(listing({tree.begin(), tree.end()}));
    std::set<std::string> parts;
    for (const auto& clip : found)
      for (const auto& part : clip.parts) {
        EXPECT_TRUE(parts.insert(part.path.native()).second) << part.path;
        EXPECT_EQ(tree.count(part.path.native()), 1U);
      }
    for (const char* loose : {"c1.mp4", "stuff/c1.mp4", "stuff/stuff/c1.mp4"}) {
      EXPECT_EQ(parts.count(loose), tree.count(loose)) << loose;
    }
    EXPECT_TRUE(std::is_sorted(found.begin(), found.end(), [](const auto& a, const auto& b) {
      return a.parts[0].path.native() < b.parts[0].path.native();
    }));
  }
}

}  // namespace
}  // namespace everytake
