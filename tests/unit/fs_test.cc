// One contract, two filesystems: what MemFs promises in tests, the real one keeps too.
#include "os/fs.h"

#include <gtest/gtest.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cstdlib>
#include <cstring>

#include "os/posix_fs.h"
#include "support/mem_fs.h"
#include "support/rooms.h"
#include "support/temp_dir.h"

namespace everytake {
namespace {

struct AlignedFree {
  void operator()(std::byte* p) const { std::free(p); }
};

std::string read_all(ReadFile& file) {
  constexpr std::size_t kSize = 64 * kBlockAlign;
  const std::unique_ptr<std::byte, AlignedFree> buffer(static_cast<std::byte*>(std::aligned_alloc(kBlockAlign, kSize)));
  std::memset(buffer.get(), 0, kSize);
  std::string all;
  for (;;) {
    const auto count = file.read({buffer.get(), kSize}, all.size());
    if (!count || *count == 0) return all;
    all.append(reinterpret_cast<const char*>(buffer.get()), *count);
    if (*count < kSize) return all;
  }
}

std::span<const std::byte> bytes_of(const std::string& text) {
  return std::as_bytes(std::span(text));
}

struct Backing {
  std::unique_ptr<test::TempDir> dir;
  std::unique_ptr<Fs> fs;
};

Backing memory() {
  return {nullptr, std::make_unique<test::MemFs>()};
}

Backing real() {
  auto dir = std::make_unique<test::TempDir>();
  auto fs = PosixFs::open_at(dir->path());
  return {std::move(dir), std::move(*fs)};
}

class FsContract : public testing::TestWithParam<std::string> {
 protected:
  void write(const Path& path, const std::string& text) {
    auto file = fs().create(path, text.size());
    ASSERT_TRUE(file) << file.error().what;
    ASSERT_TRUE((*file)->append(bytes_of(text)));
    ASSERT_TRUE((*file)->sync());
    ASSERT_TRUE((*file)->close());
  }
  Fs& fs() { return *backing_.fs; }
  Backing backing_ = GetParam() == "Real" ? real() : memory();
};

TEST_P(FsContract, GivesBackWhatWasWritten) {
  std::string text(3'000'001, 'x');
  for (std::size_t i = 0; i < text.size(); ++i) text[i] = static_cast<char>(i * 7 % 251);
  write("clip.mp4", text);
  for (const Cache cache : {Cache::use, Cache::avoid}) {
    const auto file = fs().open("clip.mp4", cache);
    ASSERT_TRUE(file);
    EXPECT_EQ(read_all(**file), text);
  }
  EXPECT_EQ(fs().stat("clip.mp4")->size, text.size());
}

TEST_P(FsContract, NeverCreatesOrRenamesOverATakenName) {
  write("a", "first");
  write("b", "second");
  EXPECT_EQ(fs().create("a", 1).error().code, Code::exists);
  EXPECT_EQ(fs().rename_new("b", "a").error().code, Code::exists);
  const auto file = fs().open("a", Cache::use);
  EXPECT_EQ(read_all(**file), "first");
  EXPECT_TRUE(fs().rename_new("b", "c"));
  EXPECT_EQ(fs().stat("b").error().code, Code::not_found);
}

TEST_P(FsContract, MakesFoldersOneLevelAtATime) {
  EXPECT_EQ(fs().make_folder("x/y").error().code, Code::not_found);
  ASSERT_TRUE(fs().make_folder("x"));
  EXPECT_EQ(fs().make_folder("x").error().code, Code::exists);
  ASSERT_TRUE(fs().make_folder("x/y"));
  write("x/f", "1");
  auto entries = *fs().list("x");
  std::sort(entries.begin(), entries.end(), [](const auto& a, const auto& b) { return a.name < b.name; });
  ASSERT_EQ(entries.size(), 2U);
  EXPECT_EQ(entries[0].name, "f");
  EXPECT_EQ(entries[0].type, FileType::regular);
  EXPECT_EQ(entries[1].type, FileType::directory);
  EXPECT_TRUE(fs().sync_folder("x"));
  EXPECT_TRUE(fs().sync_folder(""));
}

TEST_P(FsContract, KeepsTheTimeItWasGiven) {
  const FileTime time(std::chrono::seconds(1'600'000'000) + std::chrono::milliseconds(250));
  auto file = fs().create("t", 0);
  ASSERT_TRUE((*file)->set_mtime(time));
  ASSERT_TRUE((*file)->close());
  EXPECT_EQ(fs().stat("t")->mtime, time);
}

TEST_P(FsContract, RemovesFilesAndSaysWhatIsNotThere) {
  write("a", "1");
  EXPECT_TRUE(fs().remove("a"));
  EXPECT_EQ(fs().remove("a").error().code, Code::not_found);
  EXPECT_EQ(fs().open("a", Cache::use).error().code, Code::not_found);
  EXPECT_EQ(fs().list("nowhere").error().code, Code::not_found);
}

TEST_P(FsContract, OpensOnlyRegularFiles) {
  ASSERT_TRUE(fs().make_folder("x"));
  EXPECT_EQ(fs().open("x", Cache::use).error().code, Code::invalid);
}

INSTANTIATE_TEST_SUITE_P(Over, FsContract, testing::Values("Memory", "Real"),
                         [](const auto& name) { return name.param; });

TEST(PosixFs, LetsNoPathLeadOutOfItsFolder) {
  const test::TempDir dir;
  test::put_file(dir / "outside", "secret");
  test::put_file(dir / "inside/a", "1");
  ASSERT_EQ(::symlink("../outside", (dir / "inside/link").c_str()), 0);
  const auto fs = *PosixFs::open_at(dir / "inside");
  EXPECT_FALSE(fs->open("../outside", Cache::use));
  EXPECT_FALSE(fs->open("link", Cache::use));
  EXPECT_FALSE(fs->open((dir / "outside").string(), Cache::use));
  EXPECT_FALSE(fs->create("../new", 0));
  EXPECT_FALSE(fs->remove(".."));
  EXPECT_EQ(fs->stat("link")->type, FileType::symlink);
}

TEST(PosixFs, DoesNotHangOnAFifo) {
  const test::TempDir dir;
  ASSERT_EQ(::mkfifo((dir / "pipe").c_str(), 0600), 0);
  const auto fs = *PosixFs::open_at(dir.path());
  EXPECT_EQ(fs->open("pipe", Cache::use).error().code, Code::invalid);
}

// proc(5), read_bytes: the kernel's own account of what was fetched from the storage layer.
TEST(PosixFs, ShowsThatAReadBackCameFromTheDevice) {
  const test::TempDir dir;
  const auto fs = *PosixFs::open_at(dir.path());
  if (fs->volume()->disks.names.contains("memory")) GTEST_FAIL() << "set TMPDIR to a folder on a disk";
  const std::string text(5'000'000, 'q');
  auto out = *fs->create("f", text.size());
  ASSERT_TRUE(out->append(bytes_of(text)));
  ASSERT_TRUE(out->sync());
  ASSERT_TRUE(out->close());
  const auto cold = *fs->open("f", Cache::avoid);
  EXPECT_EQ(read_all(*cold), text);
  EXPECT_EQ(cold->evidence(), Evidence::direct);
  const auto first = *fs->open("f", Cache::use);
  read_all(*first);
  const auto warm = *fs->open("f", Cache::use);
  read_all(*warm);
  EXPECT_EQ(warm->evidence(), Evidence::cached);
}

TEST(MemFs, ForgetsAtAPowerCutWhatWasNotSynced) {
  test::MemFs fs;
  ASSERT_TRUE(fs.make_folder("d"));
  ASSERT_TRUE(fs.sync_folder(""));
  auto file = *fs.create("d/a", 3);
  ASSERT_TRUE(file->append(bytes_of("abc")));
  ASSERT_TRUE(file->sync());
  fs.crash();
  EXPECT_FALSE(fs.has("d/a"));  // synced bytes, but nobody synced its name
  file = *fs.create("d/b", 3);
  ASSERT_TRUE(file->append(bytes_of("abc")));
  ASSERT_TRUE(fs.sync_folder("d"));
  fs.crash();
  EXPECT_TRUE(fs.has("d/b"));
  EXPECT_EQ(fs.get("d/b"), "");  // a name without its bytes
}

}  // namespace
}  // namespace everytake
