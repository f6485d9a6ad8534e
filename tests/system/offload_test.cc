// The real program on a real filesystem.
#include <gtest/gtest.h>

#include <boost/filesystem.hpp>

#include "support/rooms.h"
#include "support/shoot_bench.h"

namespace everytake {
namespace {

using test::quoted;
using test::shell;

class OffloadProgram : public test::ShootBench {
 protected:
  OffloadProgram() {
    put("PRIVATE/M4ROOT/CLIP/C0001.MP4", 6'000'001);
    put("PRIVATE/M4ROOT/CLIP/C0001M01.XML", 900);
    put("PRIVATE/M4ROOT/CLIP/C0002.MP4", 100);
    put("PRIVATE/M4ROOT/CLIP/C0003.MP4", 0);
    put(".hidden/note", 10);
  }
  Path roll(const Path& destination, const std::string& name = "R001") const {
    return destination / "saltmarsh-radio" / name;
  }
};

TEST_F(OffloadProgram, LeavesWholeTreesThatGeneralToolsAccept) {
  const auto report = json("offload " + quoted(card_));
  EXPECT_EQ(report["schema"], 1);
  EXPECT_EQ(report["roll"], "R001");
  EXPECT_EQ(report["files"], 5);
  EXPECT_TRUE(report["safe_to_wipe"]);
  EXPECT_EQ(report["destinations"][0]["readback"], "direct");
  EXPECT_EQ(report["destinations"][1]["readback"], "cached");  // memory is no disk, and is not called one
  EXPECT_EQ(report["clips"].size(), 3U);
  for (const auto& destination : {desk_, shuttle_.path()}) {
    EXPECT_EQ(shell("diff -r " + quoted(card_) + " " + quoted(roll(destination))).exit, 0);
    // xxhsum (xxHash) reads the list.
    EXPECT_EQ(shell("cd " + quoted(roll(destination)) + " && xxhsum -c --strict ../R001.xxh128").exit, 0);
    EXPECT_EQ(shell("find " + quoted(destination) + " -name '*.everytake-part'").out, "");
  }
  EXPECT_EQ(shell("sqlite3 " + quoted(shoot_ / "catalogue.sqlite") + " 'PRAGMA integrity_check'").out, "ok\n");
}

TEST_F(OffloadProgram, SaysInThreeStepsWhenACardMayBeWiped) {
  EXPECT_EQ(json("safe " + quoted(card_), 1)["reasons"][0]["code"], "not_offloaded");
  EXPECT_EQ(everytake("offload " + quoted(card_)).exit, 0);
  EXPECT_TRUE(json("safe --deep " + quoted(card_))["safe"]);
  put("PRIVATE/M4ROOT/CLIP/C0004.MP4", 500);
  const auto no = json("safe " + quoted(card_), 1);
  EXPECT_FALSE(no["safe"]);
  EXPECT_EQ(no["reasons"][0]["code"], "new_file");
  EXPECT_EQ(no["reasons"][0]["path"], "PRIVATE/M4ROOT/CLIP/C0004.MP4");
}

TEST_F(OffloadProgram, TakesNamesThatShellsAndTerminalsDoNotLike) {
  for (const char* name : {"line\nbreak", "esc\x1b[2J", "\xff\xfe", "-dash", " blank ", "quote'\"", "back\\slash"})
    put(name, 20);
  const auto ran = everytake("offload " + quoted(card_));
  EXPECT_EQ(ran.exit, 0) << ran.err;
  EXPECT_EQ(ran.out.find('\x1b'), std::string::npos);
  EXPECT_EQ(shell("diff -r " + quoted(card_) + " " + quoted(roll(desk_))).exit, 0);
  EXPECT_EQ(shell("cd " + quoted(roll(desk_)) + " && xxhsum -c --strict ../R001.xxh128").exit, 0);
  EXPECT_EQ(shell("cd " + quoted(roll(desk_)) + " && sha256sum -c --strict ../R001.sha256").exit, 0);
  EXPECT_EQ(everytake("safe " + quoted(card_)).exit, 0);
}

TEST_F(OffloadProgram, RefusesBadInputInOneSentenceBeforeAnyWork) {
  shell("mkdir " + quoted(dir_ / "empty"));
  const std::pair<std::string, int> rows[] = {
      {"offload " + quoted(dir_ / "empty"), 3},
      {"offload " + quoted(dir_ / "nowhere"), 3},
      {"offload " + quoted(card_) + " --to a=" + quoted(card_ / "x") + " --to b=" + quoted(desk_), 3},
      {"offload " + quoted(card_) + " --to a=" + quoted(desk_), 3},
      {"offload " + quoted(card_) + " --to nonsense", 2},
      {"offload", 2},
      {"offload --no-such-option x", 2},
      {"safe " + quoted(dir_ / "nowhere"), 3},
  };
  for (const auto& [arguments, exit] : rows) {
    const auto ran = everytake(arguments);
    EXPECT_EQ(ran.exit, exit) << arguments << "\n" << ran.err;
    EXPECT_EQ(ran.out, "") << arguments;
    EXPECT_FALSE(ran.err.empty()) << arguments;
  }
  EXPECT_EQ(shell("ls -A " + quoted(desk_)).out, "");
}

TEST_F(OffloadProgram, RefusesTwoDestinationsOnOneDisk) {
  shell("mkdir " + quoted(dir_ / "other"));
  const auto to = " --to a=" + quoted(desk_) + " --to b=" + quoted(dir_ / "other");
  const auto ran = everytake("offload " + quoted(card_) + to);
  EXPECT_EQ(ran.exit, 3);
  EXPECT_NE(ran.err.find("same_disk"), std::string::npos) << ran.err;
}

TEST_F(OffloadProgram, NeverSaysSafeWithBothCopiesOnOneDisk) {
  shell("mkdir " + quoted(dir_ / "other"));
  auto text = plan();
  const auto path = shuttle_.path().string();
  text.replace(text.find(path), path.size(), (dir_ / "other").string());
  text.replace(text.find("accept_cached = true"), 20, "same_disk = \"allow\"");
  test::put_file(shoot_ / "shoot.toml", text);
  EXPECT_FALSE(json("offload " + quoted(card_))["safe_to_wipe"]);
  EXPECT_EQ(json("safe " + quoted(card_), 1)["reasons"][0]["code"], "same_disk");
}

TEST_F(OffloadProgram, GoesOnWithTheOtherDestinationWhenOneIsMissing) {
  boost::filesystem::remove_all(desk_);
  const auto report = json("offload " + quoted(card_), 6);
  EXPECT_EQ(report["destinations"][0]["state"], "failed");
  EXPECT_EQ(report["destinations"][1]["state"], "verified");
  EXPECT_EQ(report["problems"][0]["code"], "destination_absent");
  EXPECT_FALSE(boost::filesystem::exists(desk_));  // an unplugged disk's mount point stays empty
  shell("mkdir " + quoted(desk_));
  EXPECT_EQ(json("offload " + quoted(card_))["destinations"][0]["copied_files"], 5);
}

TEST_F(OffloadProgram, StopsOnCtrlCAndGoesOnWhereItStopped) {
  for (int i = 10; i < 60; ++i) put("PRIVATE/M4ROOT/CLIP/C00" + std::to_string(i) + ".MP4", 4'000'000);
  // timeout(1) of GNU coreutils sends the signal; whether it comes early or late, nothing may be lost.
  for (const char* after : {"0.02", "0.1", "0.3"}) {
    const auto ran = shell(std::string("timeout --preserve-status --signal=INT ") + after + " " + program() +
                           " --shoot " + quoted(shoot_) + " offload --no-study " + quoted(card_));
    EXPECT_TRUE(ran.exit == 130 || ran.exit == 0) << ran.exit << ran.err;
    if (ran.exit != 0) {
      EXPECT_EQ(everytake("safe " + quoted(card_)).exit, 1);
    }
  }
  EXPECT_EQ(json("offload --no-study " + quoted(card_))["roll"], "R001");
  EXPECT_EQ(shell("diff -r " + quoted(card_) + " " + quoted(roll(desk_))).exit, 0);
  EXPECT_EQ(shell("find " + quoted(dir_.path()) + " -name '*.everytake-part'").out, "");
  EXPECT_EQ(everytake("safe " + quoted(card_)).exit, 0);
}

TEST_F(OffloadProgram, WritesNothingOnADryRunNorByBeingAsked) {
  EXPECT_EQ(json("offload --dry-run " + quoted(card_))["roll"], nullptr);
  EXPECT_EQ(shell("ls -A " + quoted(desk_)).out, "");
  for (const auto& question : {"safe " + quoted(card_), std::string("verify"), std::string("study"),
                               std::string("tag C0001 --rating 3"), std::string("rolls"), std::string("status")})
    everytake(question);
  EXPECT_EQ(shell("ls -A " + quoted(shoot_)).out, "shoot.toml\n");
  ASSERT_EQ(everytake("offload --no-study " + quoted(card_)).exit, 0);
  EXPECT_EQ(json("offload --dry-run " + quoted(card_))["roll"], "R001");
  put("PRIVATE/M4ROOT/CLIP/C0004.MP4", 500);
  EXPECT_EQ(json("offload --dry-run " + quoted(card_))["roll"], nullptr);  // it would be a new one
}

TEST_F(OffloadProgram, NeverSaysSafeByADamagedCatalogue) {
  for (int i = 10; i < 200; ++i) put("PRIVATE/M4ROOT/CLIP/C00" + std::to_string(i) + ".MP4", 10);
  ASSERT_EQ(everytake("offload --no-study " + quoted(card_)).exit, 0);
  ASSERT_EQ(everytake("safe " + quoted(card_)).exit, 0);
  // The first page of the table of clips, which the verdict does not need.
  const auto file = shoot_ / "catalogue.sqlite";
  const auto page = std::stoul(shell("sqlite3 " + quoted(file) + " \"SELECT rootpage FROM sqlite_schema WHERE " +
                                     "name = 'clip' AND type = 'table'\"")
                                   .out);
  const auto size = std::stoul(shell("sqlite3 " + quoted(file) + " 'PRAGMA page_size'").out);
  auto bytes = test::get_file(file);
  bytes.replace((page - 1) * size, size, size, '\xff');
  test::put_file(file, bytes);
  const auto ran = everytake("safe " + quoted(card_));
  EXPECT_EQ(ran.exit, 3);
  EXPECT_EQ(ran.out, "");
  EXPECT_NE(ran.err.find("everytake rebuild"), std::string::npos) << ran.err;
  EXPECT_EQ(everytake("find").exit, 3);
}

TEST_F(OffloadProgram, SaysWhyAReadBackFromMemoryDoesNotCount) {
  auto text = plan();
  text.erase(text.find("accept_cached = true"), 20);
  test::put_file(shoot_ / "shoot.toml", text);
  const auto report = json("offload --no-study " + quoted(card_), 1);
  EXPECT_EQ(report["destinations"][1]["state"], "incomplete");
  EXPECT_EQ(report["destinations"][1]["readback"], "cached");
  EXPECT_EQ(report["problems"][0]["code"], "read_from_memory");
  EXPECT_NE(report["problems"][0]["message"].get<std::string>().find("accept_cached"), std::string::npos);
  EXPECT_EQ(json("safe " + quoted(card_), 1)["reasons"][0]["code"], "unverified_copy");
}

TEST_F(OffloadProgram, KnowsCopiesAtFoldersThatOnlyOneCallNamed) {
  shell("mkdir " + quoted(dir_ / "other"));
  ASSERT_EQ(everytake("offload --no-study " + quoted(card_) + " --to spare=" + quoted(dir_ / "other") +
                      " --to shuttle=" + quoted(shuttle_.path()))
                .exit,
            0);
  EXPECT_EQ(everytake("safe " + quoted(card_)).exit, 0);
  boost::filesystem::remove_all(dir_ / "other");
  EXPECT_EQ(everytake("safe " + quoted(card_)).exit, 1);
}

TEST_F(OffloadProgram, CallsAChangedCopyInTheWayOtherBytesAndCopiesItAnew) {
  ASSERT_EQ(everytake("offload --no-study " + quoted(card_)).exit, 0);
  test::put_file(roll(desk_) / "PRIVATE/M4ROOT/CLIP/C0002.MP4", std::string(100, 'x'));
  EXPECT_EQ(everytake("offload --no-study " + quoted(card_)).exit, 4);
  EXPECT_EQ(everytake("safe " + quoted(card_)).exit, 0);
  EXPECT_EQ(everytake("offload --no-study " + quoted(card_)).exit, 0);
  EXPECT_TRUE(boost::filesystem::exists(desk_ / "saltmarsh-radio/R001.bad/PRIVATE/M4ROOT/CLIP/C0002.MP4"));
}

TEST_F(OffloadProgram, ShowsARollWithoutCopiesToo) {
  boost::filesystem::remove_all(desk_);
  ASSERT_EQ(everytake("offload --no-study " + quoted(card_)).exit, 6);
  const auto roll = json("rolls")["rolls"][0];
  ASSERT_EQ(roll["destinations"].size(), 2U);
  EXPECT_EQ(roll["destinations"][1]["name"], "desk");
  EXPECT_EQ(roll["destinations"][1]["verified_files"], 0);
  EXPECT_EQ(roll["problems"][0]["code"], "destination_absent");
}

}  // namespace
}  // namespace everytake
