#include <gtest/gtest.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/posix_fs.h"
#include "card/recognise.h"
#include "card/scan.h"
#include "support/fault_fs.h"
#include "support/temp_dir.h"

namespace everytake {
namespace {

// A listing of files of one byte, with the folders they need.
Listing listing(const std::vector<std::string>& paths) {
  test::MemFs fs;
  for (const auto& path : paths) fs.put(path, "x");
  return *scan(fs, {});
}

std::vector<std::string> names(const std::vector<ClipFiles>& clips) {
  std::vector<std::string> all;
  for (const auto& clip : clips) all.push_back(clip.name);
  return all;
}

using Names = std::vector<std::string>;

TEST(Scan, ListsEverythingHiddenFilesToo) {
  const auto found = listing({"b/C.MP4", ".hidden", "a", "b/.x/y"});
  Names paths;
  for (const auto& file : found.files) paths.push_back(file.path.string());
  EXPECT_EQ(paths, (Names{".hidden", "a", "b/.x/y", "b/C.MP4"}));
  EXPECT_EQ(found.folders.size(), 2U);
  EXPECT_TRUE(found.complete);
}

TEST(Scan, DoesNotFollowLinksOrOpenPipes) {
  const test::TempDir dir;
  test::put_file(dir / "a", "1");
  ASSERT_EQ(::symlink("/etc", (dir / "link").c_str()), 0);
  ASSERT_EQ(::mkfifo((dir / "pipe").c_str(), 0600), 0);
  const auto found = *scan(**PosixFs::open_at(dir.path()), {});
  EXPECT_EQ(found.files.size(), 1U);
  ASSERT_EQ(found.problems.size(), 2U);
  EXPECT_EQ(found.problems[0].code, "not_a_file");
}

TEST(Scan, SaysWhenAFolderCouldNotBeRead) {
  test::MemFs fs;
  fs.put("a/1", "x");
  fs.put("b/2", "x");
  test::FaultFs faulty(fs);
  faulty.fail_at("list a #1", Code::io);
  const auto found = *scan(faulty, {});
  EXPECT_FALSE(found.complete);
  EXPECT_EQ(found.files.size(), 1U);
  test::FaultFs gone(fs);
  gone.fail_at("list a #1", Code::gone);
  EXPECT_EQ(scan(gone, {}).error().code, Code::gone);
}

TEST(Scan, StopsAtAnAbsurdDepth) {
  std::string path;
  for (int i = 0; i < 80; ++i) path += "d/";
  EXPECT_FALSE(listing({path + "f"}).complete);
}

TEST(Recognise, FindsEachStructureByItsFolders) {
  const std::pair<std::vector<std::string>, Structure> rows[] = {
      {{"PRIVATE/M4ROOT/CLIP/C0001.MP4"}, Structure::m4root},
      {{"private/m4root/clip/c0001.mp4"}, Structure::m4root},
      {{"XDROOT/Clip/Clip0001.MXF"}, Structure::xdroot},
      {{"Clip/A.MXF", "Edit/e", "Sub/s", "General/g"}, Structure::xdroot},
      {{"PRIVATE/AVCHD/BDMV/INDEX.BDM", "PRIVATE/AVCHD/BDMV/STREAM/00001.MTS"}, Structure::avchd},
      {{"CONTENTS/CLIPS001/A001C001/A001C001.MXF"}, Structure::contents_clips},
      {{"CONTENTS/CLIP/0001AB.XML", "CONTENTS/VIDEO/0001AB.MXF"}, Structure::contents_split},
      {{"DCIM/100ABCDE/ABCD0001.MOV"}, Structure::dcim},
      {{"A001_C002.braw"}, Structure::at_the_root},
  };
  for (const auto& [paths, structure] : rows) {
    EXPECT_EQ(structures_of(listing(paths)), std::vector{structure}) << paths[0];
    EXPECT_EQ(clips_of(listing(paths)).size(), 1U) << paths[0];
  }
}

TEST(Recognise, TakesAnyFolderAndFindsItsMedia) {
  const auto found = listing({"stuff/clip.mov", "stuff/readme.txt", "sub/clip.mp4", "._clip.mov"});
  EXPECT_TRUE(structures_of(found).empty());
  EXPECT_EQ(names(clips_of(found)), (Names{"clip"}));
}

TEST(Recognise, GroupsSidecarsProxiesAndThumbnailsWithTheirClip) {
  const auto clips = clips_of(listing({
      "PRIVATE/M4ROOT/CLIP/C0001.MP4",
      "PRIVATE/M4ROOT/CLIP/C0001M01.XML",
      "PRIVATE/M4ROOT/SUB/C0001S03.MP4",
      "PRIVATE/M4ROOT/THMBNL/C0001T01.JPG",
      "PRIVATE/M4ROOT/CLIP/C0010.MP4",
      "PRIVATE/M4ROOT/MEDIAPRO.XML",
      "PRIVATE/M4ROOT/CLIP/C00011.MP4",
  }));
  ASSERT_EQ(names(clips), (Names{"C0001", "C00011", "C0010"}));
  ASSERT_EQ(clips[0].parts.size(), 4U);
  EXPECT_EQ(clips[0].parts[0].role, FileRole::video);
  EXPECT_EQ(clips[0].parts[1].role, FileRole::sidecar);
  EXPECT_EQ(clips[0].parts[2].role, FileRole::proxy);
  EXPECT_EQ(clips[0].parts[3].role, FileRole::thumbnail);
  EXPECT_EQ(clips[1].parts.size(), 1U);
}

TEST(Recognise, TakesWhatBelongsToADcfObject) {
  // DCF (JEITA CP-3461): the same number in one folder is one object, whatever the extension.
  const auto clips = clips_of(listing({"DCIM/100ABCDE/ABCD0001.MOV", "DCIM/100ABCDE/ABCD0001.THM",
                                       "DCIM/100ABCDE/ABCD0001.LRV", "DCIM/100ABCDE/ABCD0002.JPG"}));
  ASSERT_EQ(clips.size(), 1U);
  EXPECT_EQ(clips[0].parts.size(), 3U);
}

TEST(Recognise, PutsTheSoundOfSplitEssenceToItsPicture) {
  const auto clips = clips_of(listing({"CONTENTS/CLIP/0001AB.XML", "CONTENTS/VIDEO/0001AB.MXF",
                                       "CONTENTS/AUDIO/0001AB00.MXF", "CONTENTS/AUDIO/0001AB01.MXF"}));
  ASSERT_EQ(clips.size(), 1U);
  int sounds = 0;
  for (const auto& part : clips[0].parts) sounds += part.role == FileRole::audio;
  EXPECT_EQ(sounds, 2);
}

TEST(Recognise, KeepsAnEmptyClipAndIgnoresWhatSystemsLeave) {
  test::MemFs fs;
  fs.put("PRIVATE/M4ROOT/CLIP/C0001.MP4", "");
  fs.put("PRIVATE/M4ROOT/CLIP/._C0001.MP4", "x");
  fs.put(".Trashes/501/C0009.MP4", "x");
  EXPECT_EQ(names(clips_of(*scan(fs, {}))), (Names{"C0001"}));
}

TEST(Recognise, TakesSeveralStructuresOnOneCard) {
  const auto found = listing({"PRIVATE/M4ROOT/CLIP/C0001.MP4", "DCIM/100ABCDE/ABCD0001.MOV"});
  EXPECT_EQ(structures_of(found), (std::vector{Structure::m4root, Structure::dcim}));
  EXPECT_EQ(clips_of(found).size(), 2U);
}

}  // namespace
}  // namespace everytake
