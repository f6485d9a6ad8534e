#include "offload/manifest.h"

#include <gtest/gtest.h>

#include <cstdlib>

#include "os/posix_fs.h"
#include "support/rooms.h"
#include "support/temp_dir.h"

namespace everytake {
namespace {

// xxhsum (xxHash) and sha256sum (GNU coreutils) read what we write, and check it against the files.
TEST(Manifest, IsAcceptedByXxhsumAndSha256sum) {
  const test::TempDir dir;
  const auto fs = *PosixFs::open_at(dir.path());
  std::vector<ManifestLine> lines;
  for (const char* name :
       {"b.MP4", "a/with blank.MP4", "back\\slash", "line\nbreak", "cr\rhere", "-dash", "\xff.bin"}) {
    test::put_file(dir / "R001" / name, std::string("bytes of ") + name);
    lines.push_back({name, hash_file(*fs, Path("R001") / name, Cache::use, {})->digest});
  }
  ASSERT_TRUE(write_manifests(*fs, "", "R001", lines, {}));
  ASSERT_TRUE(write_manifests(*fs, "", "R001", lines, {}));  // again, over the first
  const auto check = [&](const std::string& command) {
    return std::system(("cd '" + (dir / "R001").string() + "' && " + command + " >/dev/null 2>&1").c_str());
  };
  EXPECT_EQ(check("xxhsum -c --strict ../R001.xxh128"), 0);
  EXPECT_EQ(check("sha256sum -c --strict ../R001.sha256"), 0);
  test::put_file(dir / "R001/b.MP4", "other bytes");
  test::put_file(dir / "R001/line\nbreak", "other bytes");
  EXPECT_NE(check("xxhsum -c --strict ../R001.xxh128"), 0);
  EXPECT_NE(check("sha256sum -c --strict ../R001.sha256"), 0);
}

TEST(Manifest, IsSortedByTheBytesOfThePaths) {
  EXPECT_EQ(xxh128_manifest({{"b", {}}, {"B", {}}, {"a/c", {}}, {"a-c", {}}}),
            "00000000000000000000000000000000  B\n00000000000000000000000000000000  a-c\n"
            "00000000000000000000000000000000  a/c\n00000000000000000000000000000000  b\n");
}

TEST(Manifest, IsReadAsItWasWritten) {
  std::vector<ManifestLine> lines{{"CLIP/C0001.MP4", *Digest::from_hex("000102030405060708090a0b0c0d0e0f")},
                                  {"a  b\\c", *Digest::from_hex("ffeeddccbbaa99887766554433221100")}};
  const auto read = parse_xxh128_manifest(xxh128_manifest(lines));
  ASSERT_TRUE(read);
  ASSERT_EQ(read->size(), 2U);
  for (std::size_t i = 0; i < 2; ++i) {
    EXPECT_EQ((*read)[i].path, lines[i].path);
    EXPECT_EQ((*read)[i].digest, lines[i].digest);
  }
}

TEST(Manifest, NeverLeadsOutOfTheRoll) {
  const std::string digest = "000102030405060708090a0b0c0d0e0f  ";
  for (const auto& path :
       std::vector<std::string>{"/etc/passwd", "../up", "a/../../up", "a//b", "./a", "", "a/", {"a\0b", 3}})
    EXPECT_FALSE(parse_xxh128_manifest(digest + path + "\n")) << path;
  for (const char* line : {"short", "000102030405060708090a0b0c0d0e0f a", "zz0102030405060708090a0b0c0d0e0f  a"})
    EXPECT_FALSE(parse_xxh128_manifest(line)) << line;
}

}  // namespace
}  // namespace everytake
