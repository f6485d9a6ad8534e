#include "card/scan.h"

#include <fcntl.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

#include <boost/filesystem.hpp>
#include <functional>

#include "os/posix_fs.h"
#include "support/fault_fs.h"
#include "support/rooms.h"
#include "support/temp_dir.h"

namespace everytake {
namespace {

using testing::ElementsAre;
using testing::IsEmpty;
using testing::SizeIs;

std::vector<std::string> paths(const std::vector<CardFile>& files) {
  std::vector<std::string> all;
  for (const auto& file : files) all.push_back(file.path.native());
  return all;
}

std::vector<std::string> codes(const Listing& listing) {
  std::vector<std::string> all;
  for (const auto& problem : listing.problems) all.push_back(std::string(to_string(problem.code)) + " " + problem.path);
  return all;
}

// A driver that answers what a test wants.
class OddFs final : public ReadFs {
 public:
  std::function<std::vector<DirEntry>(const Path&)> entries = [](const Path&) { return std::vector<DirEntry>(); };
  std::function<FileStat(const Path&)> status = [](const Path&) {
    return FileStat{FileType::regular, 1, {}, {}, 1, 1};
  };

  Result<FileStat> stat(const Path& path) const override {
    if (path.empty()) return FileStat{FileType::directory, 0, {}, {}, 1, 1};
    return status(path);
  }
  Result<std::vector<DirEntry>> list(const Path& folder) const override { return entries(folder); }
  Result<std::unique_ptr<ReadFile>> open(const Path&, Cache) const override { return fail(Code::io, "not here"); }
  Result<Volume> volume() const override { return Volume{}; }
  Result<void> still_there() const override { return {}; }
};

TEST(Scan, ListsEverythingHiddenFilesAndEmptyFoldersToo) {
  test::MemFs fs;
  for (const char* path : {"b/C.MP4", ".hidden", "a", "b/.x/y"}) fs.put(path, "x");
  ASSERT_TRUE(fs.make_folder("empty"));
  const auto found = *scan(fs, {});
  EXPECT_THAT(paths(found.files), ElementsAre(".hidden", "a", "b/.x/y", "b/C.MP4"));
  EXPECT_THAT(found.folders, ElementsAre("b", "b/.x", "empty"));
  EXPECT_TRUE(found.complete);
  EXPECT_THAT(found.problems, IsEmpty());
}

TEST(Scan, SortsByTheBytesOfWholePaths) {
  test::MemFs fs;
  for (const char* path : {"a/1", "a-b", "a.b", "B", "\xff", "\xc3\xa9"}) fs.put(path, "x");
  // '-' is 2D, '.' is 2E, '/' is 2F (ASCII): as LC_ALL=C sort orders them.
  EXPECT_THAT(paths(scan(fs, {})->files), ElementsAre("B", "a-b", "a.b", "a/1", "\xc3\xa9", "\xff"));
}

TEST(Scan, TellsSizesAndTimesAsTheDiskHasThem) {
  const test::TempDir dir;
  test::put_file(dir / "a", "12345");
  const timespec times[2] = {{1'700'000'000, 0}, {1'700'000'001, 123'456'789}};
  ASSERT_EQ(::utimensat(AT_FDCWD, (dir / "a").c_str(), times, 0), 0);
  const auto found = *scan(**PosixFs::open_at(dir.path()), {});
  ASSERT_THAT(found.files, SizeIs(1));
  EXPECT_EQ(found.files[0].size, 5U);
  EXPECT_EQ(found.files[0].mtime, FileTime(std::chrono::nanoseconds(1'700'000'001'123'456'789)));
}

TEST(Scan, DoesNotFollowLinksOrOpenPipesAndSockets) {
  const test::TempDir dir;
  test::put_file(dir / "a", "1");
  ASSERT_EQ(::symlink("/etc", (dir / "link").c_str()), 0);
  ASSERT_EQ(::symlink("nowhere", (dir / "dead").c_str()), 0);
  ASSERT_EQ(::mkfifo((dir / "pipe").c_str(), 0600), 0);
  const int made = ::socket(AF_UNIX, SOCK_STREAM, 0);
  sockaddr_un address{AF_UNIX, {}};
  (dir / "socket").native().copy(address.sun_path, sizeof address.sun_path - 1);
  ASSERT_EQ(::bind(made, reinterpret_cast<const sockaddr*>(&address), sizeof address), 0);
  ::close(made);
  const auto found = *scan(**PosixFs::open_at(dir.path()), {});
  EXPECT_THAT(paths(found.files), ElementsAre("a"));
  EXPECT_THAT(codes(found), ElementsAre("not_a_file dead", "not_a_file link", "not_a_file pipe", "not_a_file socket"));
  EXPECT_TRUE(found.complete);
}

TEST(Scan, SaysWhatCouldNotBeReadAndGoesOn) {
  test::MemFs fs;
  for (const char* path : {"a/1", "b/2", "c"}) fs.put(path, "x");
  for (const char* operation : {"list a #1", "stat b/2 #1", "stat c #1", "stat a #1"}) {
    test::FaultFs faulty(fs);
    faulty.fail_at(operation, Code::io);
    const auto found = *scan(faulty, {});
    EXPECT_FALSE(found.complete) << operation;
    EXPECT_THAT(found.files, SizeIs(2)) << operation;
    ASSERT_THAT(found.problems, SizeIs(1)) << operation;
    EXPECT_EQ(found.problems[0].code, ProblemCode::unreadable);
  }
}

TEST(Scan, EndsWhereverTheCardGoesAway) {
  test::MemFs fs;
  for (const char* path : {"a/1", "b/2"}) fs.put(path, "x");
  test::FaultFs healthy(fs);
  ASSERT_TRUE(scan(healthy, {}));
  for (const auto& operation : healthy.operations()) {
    test::FaultFs gone(fs);
    gone.fail_at(operation, Code::gone);
    const auto found = scan(gone, {});
    ASSERT_FALSE(found) << operation;
    EXPECT_EQ(found.error().code, Code::gone) << operation;
  }
}

TEST(Scan, FailsWhereTheTopItselfCanNotBeListed) {
  test::MemFs fs;
  test::FaultFs faulty(fs);
  faulty.fail_at("list  #1", Code::io);
  EXPECT_EQ(scan(faulty, {}).error().code, Code::io);
}

TEST(Scan, StopsWhenAsked) {
  test::MemFs fs;
  fs.put("a", "x");
  std::stop_source stop;
  stop.request_stop();
  EXPECT_EQ(scan(fs, stop.get_token()).error().code, Code::cancelled);
}

TEST(Scan, LooksSixtyFourFoldersDeepAndNoDeeper) {
  const auto nested = [](int depth) {
    std::string path;
    for (int i = 1; i < depth; ++i) path += "d/";
    test::MemFs fs;
    fs.put(path + "f", "x");
    return *scan(fs, {});
  };
  EXPECT_TRUE(nested(64).complete);
  EXPECT_THAT(nested(64).files, SizeIs(1));
  const auto deeper = nested(65);
  EXPECT_FALSE(deeper.complete);
  EXPECT_THAT(deeper.files, IsEmpty());
  EXPECT_EQ(deeper.problems.at(0).code, ProblemCode::too_deep);
}

TEST(Scan, RefusesMoreThanAnyCardHolds) {
  test::MemFs fs;
  for (const char* path : {"a", "b", "c"}) fs.put(path, "x");
  EXPECT_TRUE(scan(fs, {}, {64, 3}));
  EXPECT_EQ(scan(fs, {}, {64, 2}).error().code, Code::invalid);
}

TEST(Scan, FindsAFolderThatLeadsBackToItself) {
  OddFs fs;
  fs.entries = [](const Path& folder) {
    return folder.empty() ? std::vector<DirEntry>{{"a", FileType::directory}}
                          : std::vector<DirEntry>{{"back", FileType::directory}, {"f", FileType::regular}};
  };
  fs.status = [](const Path& path) {
    if (path.filename() == "f") return FileStat{FileType::regular, 1, {}, {}, 1, 9};
    return FileStat{FileType::directory, 0, {}, {}, 1, path == "a" ? 2U : 1U};  // a/back is the top
  };
  const auto found = *scan(fs, {});
  EXPECT_THAT(paths(found.files), ElementsAre("a/f"));
  EXPECT_THAT(codes(found), ElementsAre("loop a/back"));
  EXPECT_FALSE(found.complete);
}

TEST(Scan, EndsInALoopThatCanNotBeTold) {
  OddFs fs;  // each folder holds two more, and all claim to be others
  std::uint64_t inode = 2;
  fs.entries = [](const Path&) {
    return std::vector<DirEntry>{{"a", FileType::directory}, {"b", FileType::directory}};
  };
  fs.status = [&](const Path&) { return FileStat{FileType::directory, 0, {}, {}, 1, inode++}; };
  EXPECT_EQ(scan(fs, {}, {64, 10'000}).error().code, Code::invalid);
}

TEST(Scan, TakesAFileOnceThatIsListedTwice) {
  OddFs fs;
  fs.entries = [](const Path&) {
    return std::vector<DirEntry>{{"b", FileType::regular}, {"a", FileType::regular}, {"b", FileType::regular}};
  };
  EXPECT_THAT(paths(scan(fs, {})->files), ElementsAre("a", "b"));
}

TEST(Scan, LetsNoNameLeadOutOfItsFolder) {
  OddFs fs;
  const std::string impossible[] = {"", ".", "..", "../etc/passwd", "a/b", std::string("a\0b", 3)};
  fs.entries = [&](const Path&) {
    std::vector<DirEntry> entries;
    for (const auto& name : impossible) entries.push_back({name, FileType::regular});
    return entries;
  };
  const auto found = *scan(fs, {});
  EXPECT_THAT(found.files, IsEmpty());
  EXPECT_THAT(found.problems, SizeIs(std::size(impossible)));
  EXPECT_FALSE(found.complete);
}

TEST(Scan, TakesNamesOfAnyBytes) {
  const test::TempDir dir;
  const std::string names[] = {"line\nfeed",
                               "\x1b[2J",
                               "\xff\xfe",
                               "<script>",
                               std::string(255, 'n'),
                               "-rf",
                               "dot.",
                               "  ",
                               "\xe2\x80\xae"
                               "4PM.1000C"};
  for (const auto& name : names) test::put_file(dir / name, "x");
  const auto found = *scan(**PosixFs::open_at(dir.path()), {});
  EXPECT_THAT(paths(found.files), testing::UnorderedElementsAreArray(names));
  EXPECT_TRUE(found.complete);
}

TEST(Scan, ListsTenThousandFilesInOneFolder) {
  const test::TempDir dir;
  for (int i = 0; i < 10'000; ++i) test::put_file(dir / ("f" + std::to_string(i)), "");
  EXPECT_THAT(scan(**PosixFs::open_at(dir.path()), {})->files, SizeIs(10'000));
}

}  // namespace
}  // namespace everytake
