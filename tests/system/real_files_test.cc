// Recordings of real cameras and programs, as Debian's packages bring them, judged by ffprobe. They are read in place.
#include <gtest/gtest.h>

#include <algorithm>
#include <boost/filesystem.hpp>

#include "media/probe.h"
#include "os/posix_fs.h"
#include "support/ffprobe.h"
#include "support/rooms.h"

namespace everytake {
namespace {

namespace fs = boost::filesystem;

// The packages forensics-samples-files (a telephone's clip of a varying rate; one scene in four containers),
// python3-imageio and opencv-doc.
const Path kFolders[] = {"/usr/share/forensics-samples/original-files",
                         "/usr/lib/python3/dist-packages/imageio/resources/images",
                         "/usr/share/doc/opencv-doc/examples/data"};

bool is_recording(const Path& file) {
  const std::string kinds[] = {".mp4", ".avi", ".mpeg", ".ogg"};
  return std::find(std::begin(kinds), std::end(kinds), file.extension().string()) != std::end(kinds) &&
         test::ffprobe(file).dump().find("\"video\"") != std::string::npos;
}

std::vector<Path> recordings() {
  std::vector<Path> files;
  for (const auto& folder : kFolders) {
    if (!fs::exists(folder)) return {};
    for (const auto& entry : fs::recursive_directory_iterator(folder))
      if (is_recording(entry.path())) files.push_back(entry.path());
  }
  std::sort(files.begin(), files.end());
  return files;
}

ClipFacts facts_of_file(const Path& file) {
  const auto folder = PosixFs::open_at(file.parent_path());
  const auto facts = probe(**folder, file.filename(), {});
  EXPECT_TRUE(facts) << facts.error().what;
  return facts.value_or(ClipFacts{});
}

TEST(RealFiles, AreReadAsFfprobeReadsThem) {
  const auto files = recordings();
  if (files.empty()) GTEST_SKIP() << "Debian's sample recordings are not installed: bash cli/dependencies --tests";
  EXPECT_GE(files.size(), 10U);
  for (const auto& file : files) test::expect_ffprobe_agrees(facts_of_file(file), file);
}

TEST(RealFiles, ShowATelephonesVaryingRate) {
  const Path file = kFolders[0] / "movie1/VID_20191220_170832.mp4";
  if (!fs::exists(file)) GTEST_SKIP() << "the package forensics-samples-files is not installed";
  const auto facts = facts_of_file(file);
  ASSERT_EQ(facts.problems.size(), 1U);
  EXPECT_EQ(facts.problems[0].code, ProblemCode::variable_rate);
}

}  // namespace
}  // namespace everytake
