// Ways to a wrong yes, and to loss by another catalogue's hand: each was once open. On disks in memory and a real
// catalogue; those that need real mounts are in disk_test.cc and real_mount_test.cc.
#include <gtest/gtest.h>

#include <boost/filesystem/operations.hpp>

#include "pipeline/marks.h"
#include "pipeline/on_card.h"
#include "support/happening_fs.h"
#include "support/ingest_bench.h"
#include "support/rooms.h"

namespace everytake {
namespace {

using test::FaultFs;
using test::HappeningFs;
using test::MemFs;
using Codes = std::set<std::string>;

class WrongYes : public test::IngestBench {
 protected:
  WrongYes() {
    plan_.performer = "Tollhouse Four";
    plan_.text = kPlanText;
    card_.put(kClip, std::string(5'000'000, 'm'), FileTime(std::chrono::seconds(1'700'000'009)));
  }

  // What the verdict promises: on two disks lies what the card holds.
  void expect_kept(const Path& on_card) {
    for (const auto& disk : disks_) {
      bool found = false;
      for (const auto& file : copies_on(*disk))
        found = found || (file.find(".bad/") == std::string::npos && disk->get(file) == card_.get(on_card));
      EXPECT_TRUE(found) << on_card;
    }
  }
  void expect_yes_that_is_true() {
    const auto verdict = check_safe();
    for (const auto& reason : verdict.reasons)
      ADD_FAILURE() << to_string(reason.code) << " " << reason.path << reason.message;
    EXPECT_TRUE(check_safe(true).safe);
    for (const auto& file : card_.files()) expect_kept(file);
  }
  std::set<std::string> problems(const IngestReport& report) {
    std::set<std::string> codes;
    for (const auto& problem : report.problems) codes.insert(to_string(problem.code));
    return codes;
  }
  bool kept_aside(const MemFs& disk, const std::string& bytes) {
    for (const auto& file : disk.files())
      if (file.find("/R001.bad/") != std::string::npos && disk.get(file) == bytes) return true;
    return false;
  }
  // The middle of a clip, where no sample looks, with its size and time as they were.
  void change_the_middle() { card_.alter(kClip, 2'500'000); }

  // Another catalogue of the same plan, as on another laptop.
  std::unique_ptr<Catalogue> another_catalogue() { return *Catalogue::open(dir_ / "another.sqlite"); }
  Result<IngestReport> offload_by(Catalogue& catalogue, const Plan& plan, const ReadFs& card) {
    auto destinations = open();
    return Pipeline(catalogue, plan, clock_).ingest(seen(card), destinations, {}, {}, {});
  }

  static constexpr const char* kPlanText =
      "[shoot]\ntitle = \"Saltmarsh Radio\"\nperformer = \"Tollhouse Four\"\nframe_rate = \"24/1\"\n"
      "[song]\nlength = \"2:00\"\n[[destination]]\nname = \"desk\"\npath = \"/media/desk\"\n"
      "[[destination]]\nname = \"shuttle\"\npath = \"/media/shuttle\"\n";
  static constexpr const char* kClip = "PRIVATE/M4ROOT/CLIP/C0009.MP4";
};

// ---- A digest that moves ------------------------------------------------------------------------------------------

TEST_F(WrongYes, AFlipInTheFirstOfTwoReadingsIsNotForgottenByTheNext) {
  options_.read_twice = true;
  FaultFs card(card_);
  card.flip_at(std::string("read ") + kClip + " #1");
  const auto first = offload(card, open());
  ASSERT_TRUE(card.hit());
  EXPECT_TRUE(problems(*first).contains("bytes_differ"));
  EXPECT_FALSE(check_safe().safe);
  const auto wrong = disks_[0]->get(Path("saltmarsh-radio/R001") / kClip);
  const auto second = offload();
  EXPECT_TRUE(problems(*second).contains("bytes_differ"));  // told, not silently put right
  expect_yes_that_is_true();
  EXPECT_TRUE(kept_aside(*disks_[0], wrong));
}

TEST_F(WrongYes, APlainVisitAfterReadingsThatDifferedReadsAgain) {
  options_.read_twice = true;
  FaultFs card(card_);
  card.flip_at(std::string("read ") + kClip + " #3");  // of the second pass: the copies are right
  ASSERT_TRUE(offload(card, open()));
  ASSERT_TRUE(card.hit());
  EXPECT_FALSE(check_safe().safe);
  options_.read_twice = false;
  ASSERT_TRUE(offload());
  expect_yes_that_is_true();
}

TEST_F(WrongYes, ADiskThatWasAwayWhenTheReaderFlippedGetsWhatTheCardHolds) {
  options_.read_twice = true;
  FaultFs card(card_);
  card.flip_at(std::string("read ") + kClip + " #1");
  ASSERT_TRUE(offload(card, open("shuttle")));
  ASSERT_TRUE(card.hit());
  options_.read_twice = false;
  ASSERT_TRUE(offload());
  expect_yes_that_is_true();
}

TEST_F(WrongYes, AReadingAgainForABadWriteDoesNotCoverAFlip) {
  FaultFs card(card_);
  card.flip_at(std::string("read ") + kClip + " #1");
  auto destinations = open();
  auto& shuttle = dynamic_cast<FaultFs&>(*destinations[1].fs);
  const auto name = *token_of(*catalogue_) + "-5.everytake-part";
  shuttle.flip_at("append saltmarsh-radio/R001/PRIVATE/M4ROOT/CLIP/" + name + " #1");
  const auto report = offload(card, std::move(destinations));
  ASSERT_TRUE(card.hit());
  EXPECT_TRUE(problems(*report).contains("bytes_differ"));
  expect_yes_that_is_true();
}

TEST_F(WrongYes, AByteChangedBeneathItsSizeAndTimeIsCopiedAnew) {
  ASSERT_TRUE(offload());
  const auto before = card_.get(kClip);
  change_the_middle();
  options_.read_twice = true;
  const auto report = offload();
  EXPECT_TRUE(problems(*report).contains("bytes_differ"));
  expect_yes_that_is_true();
  for (const auto& disk : disks_) EXPECT_TRUE(kept_aside(*disk, before));  // it may have been another take
  const auto list = disks_[0]->get("saltmarsh-radio/R001.xxh128");
  EXPECT_NE(list.find(hash_file(card_, kClip, Cache::use, {})->digest.hex()), std::string::npos);
}

// ---- Disks --------------------------------------------------------------------------------------------------------

TEST_F(WrongYes, WhatAFullReadingSawIsNotForgottenByALookAtTheList) {
  ASSERT_TRUE(offload());
  change_the_middle();
  EXPECT_TRUE(check_safe().safe);  // nothing shows it yet
  EXPECT_EQ(codes(check_safe(true)), Codes{"changed_file"});
  EXPECT_EQ(codes(check_safe()), Codes{"read_problem"});
  const auto report = offload();
  EXPECT_EQ(problems(*report), Codes{"bytes_differ"});
  expect_yes_that_is_true();
}

TEST_F(WrongYes, ADeadDiskThatAnswersFromMemoryHoldsNothing) {
  ASSERT_TRUE(offload());
  disks_[1]->set_dead(true);
  EXPECT_TRUE(disks_[1]->stat(at("R001", "C0001")));
  EXPECT_EQ(codes(check_safe()), Codes{"destination_absent"});
  disks_[1]->set_dead(false);
  EXPECT_TRUE(check_safe().safe);
}

TEST_F(WrongYes, AnUnknownDiskIsNotAnotherDisk) {
  auto volume = *disks_[1]->volume();
  volume.disks = {};
  disks_[1]->set_volume(volume);
  ASSERT_TRUE(offload());
  EXPECT_EQ(codes(check_safe()), Codes{"same_disk"});
  plan_.destinations[1].own_disk = true;
  EXPECT_EQ(check_safe().words, std::vector<std::string>{"shuttle"});
}

TEST_F(WrongYes, AnotherDiskWithTheSameTreeIsNotTheDestination) {
  for (auto& disk : disks_) {
    auto volume = *disk->volume();
    volume.uuid = "";  // as drivers in user space and servers have it
    volume.filesystem = "fuse.exfat";
    disk->set_volume(volume);
  }
  ASSERT_TRUE(offload());
  ASSERT_TRUE(check_safe().safe);
  auto other = std::make_unique<MemFs>();
  for (const auto& file : disks_[1]->files())
    if (file != kMarkFile) other->put(file, disks_[1]->get(file), disks_[1]->stat(file)->mtime);
  auto bytes = other->get(at("R001", "C0001"));
  bytes[5] ^= 1;
  other->put(at("R001", "C0001"), bytes, other->stat(at("R001", "C0001"))->mtime);
  other->set_volume(*disks_[1]->volume());
  disks_[1] = std::move(other);
  EXPECT_EQ(codes(check_safe()), Codes{"destination_absent"});
  EXPECT_TRUE(problems(*offload()).contains("destination_absent"));
  const auto mark = *make_mark(*disks_[1], "test");
  EXPECT_EQ(codes(check_safe()), Codes{"destination_absent"});
  EXPECT_TRUE(problems(*offload()).contains("other_disk"));
  EXPECT_EQ(*read_mark(*disks_[1]), mark);  // nothing of it was touched
}

TEST_F(WrongYes, TwoThatBearOneMarkAreRefusedUntilAPersonSaysWhichIsWhich) {
  disks_[0]->put(kMarkFile, "everytake destination " + std::string(32, 'a') + "\n");
  disks_[1]->put(kMarkFile, disks_[0]->get(kMarkFile));
  const auto report = offload();
  ASSERT_FALSE(report);
  EXPECT_EQ(report.error().code, Code::invalid);
  EXPECT_NE(report.error().what.find("bear the same mark"), std::string::npos);
  EXPECT_TRUE(copies_on(*disks_[0]).empty());
}

TEST_F(WrongYes, AMarkThatIsBrokenIsToldAndNotReplaced) {
  ASSERT_TRUE(offload());
  disks_[1]->put(kMarkFile, "everytake dest");
  EXPECT_EQ(codes(check_safe()), Codes{"destination_absent"});
  EXPECT_TRUE(problems(*offload()).contains("bad_mark"));
  EXPECT_EQ(disks_[1]->get(kMarkFile), "everytake dest");
}

TEST_F(WrongYes, ACopyOnTheCardsOwnDiskNeverCounts) {
  ASSERT_TRUE(offload());
  auto volume = *card_.volume();
  volume.disks = disks_[1]->volume()->disks;
  volume.source = "/dev/sdb1";
  const Card card{"/media/card", card_, volume, true};
  auto destinations = open();
  EXPECT_EQ(codes(*Pipeline(*catalogue_, plan_, clock_).check_safe(card, destinations, false, {})), Codes{"same_disk"});
  EXPECT_EQ(check_not_on_card(destinations, card).error().code, Code::invalid);
}

// ---- Old looks ----------------------------------------------------------------------------------------------------

TEST_F(WrongYes, WhatHappensDuringALongReadingCounts) {
  ASSERT_TRUE(offload());
  const auto judge_while = [&](const std::function<void()>& happens) {
    const HappeningFs card(card_, "open", "C0009.MP4", happens);
    auto destinations = open();
    return codes(*Pipeline(*catalogue_, plan_, clock_).check_safe(seen(card), destinations, true, {}));
  };
  EXPECT_EQ(judge_while([&] { card_.put("PRIVATE/M4ROOT/CLIP/C0010.MP4", "shot meanwhile"); }), Codes{"read_problem"});
  ASSERT_TRUE(card_.remove("PRIVATE/M4ROOT/CLIP/C0010.MP4"));
  EXPECT_EQ(judge_while([&] { (void)disks_[0]->remove(at("R001", "C0001")); }), Codes{"missing_copy"});
  ASSERT_TRUE(offload());
  const auto another_program_finds_rot = [&] {
    disks_[1]->alter(at("R001", "C0002"), 99);
    auto destinations = open();
    (void)Pipeline(*catalogue_, plan_, clock_).verify(destinations, {}, [](auto, auto) {}, {});
  };
  EXPECT_EQ(judge_while(another_program_finds_rot), Codes{"unverified_copy"});
}

TEST_F(WrongYes, AListAloneIsNoReadingOfTheCard) {
  ASSERT_TRUE(offload());
  auto rebuilt = *Catalogue::open(dir_ / "rebuilt.sqlite");
  const auto roll = (*catalogue_->rolls())[0];
  std::vector<RestoredFile> files;
  const auto rows = *catalogue_->files_of_roll(roll.id);
  for (const auto& row : rows) files.push_back({row.file, *row.digest, row.copies[0].stored});
  std::vector<DestinationId> ids;
  const auto places = *catalogue_->destinations();
  for (const auto& row : places) ids.push_back(*rebuilt->destination(row));
  for (const auto id : ids) ASSERT_TRUE(rebuilt->restore_roll(roll, files, id));
  ASSERT_TRUE(rebuilt->take_over(*catalogue_->id(), (*read_owner(*disks_[0], "saltmarsh-radio"))->stamp));
  catalogue_ = std::move(rebuilt);
  auto destinations = open();
  ASSERT_TRUE(Pipeline(*catalogue_, plan_, clock_).verify(destinations, {}, [](auto, auto) {}, {}));
  EXPECT_EQ(codes(check_safe()), Codes{"read_problem"});
  EXPECT_TRUE(check_safe(true).safe);  // that reads it
  ASSERT_TRUE(offload());
  expect_yes_that_is_true();
  EXPECT_EQ(catalogue_->rolls()->size(), 1U);
}

// ---- One catalogue and another ------------------------------------------------------------------------------------

TEST_F(WrongYes, ANewCatalogueNeverReplacesOneThatIsKept) {
  ASSERT_TRUE(offload());
  const auto kept = disks_[0]->get("saltmarsh-radio/catalogue.sqlite");
  const auto before = disks_[1]->files();
  const auto other = another_catalogue();
  const auto report = offload_by(*other, plan_, card_);
  ASSERT_FALSE(report);
  EXPECT_EQ(report.error().code, Code::invalid);
  EXPECT_NE(report.error().what.find("rebuild"), std::string::npos) << report.error().what;
  EXPECT_TRUE(disks_[0]->get("saltmarsh-radio/catalogue.sqlite") == kept);
  EXPECT_EQ(disks_[1]->files(), before);
  EXPECT_TRUE(other->rolls()->empty());
}

TEST_F(WrongYes, ACatalogueThatWentOnElsewhereIsNotWrittenOver) {
  ASSERT_TRUE(offload());
  boost::filesystem::copy_file(dir_ / "catalogue.sqlite", dir_ / "another.sqlite");
  const auto other = another_catalogue();
  shoot("C0003", 3);
  ASSERT_TRUE(offload_by(*other, plan_, card_));  // from here on it knows more
  const auto kept = disks_[0]->get("saltmarsh-radio/catalogue.sqlite");
  const auto report = offload();
  ASSERT_FALSE(report);
  EXPECT_EQ(report.error().code, Code::invalid);
  EXPECT_TRUE(disks_[0]->get("saltmarsh-radio/catalogue.sqlite") == kept);
}

TEST_F(WrongYes, TwoShootsOfOneNameKeepOutOfEachOthersFolders) {
  ASSERT_TRUE(offload());
  auto plan = plan_;
  plan.performer = "The Dunlin Five";
  plan.text = "[shoot]\n";
  const auto other = another_catalogue();
  MemFs card;
  card.put("PRIVATE/M4ROOT/CLIP/C0001.MP4", std::string(300'000, 'z'));
  const auto report = offload_by(*other, plan, card);
  ASSERT_TRUE(report) << report.error().what;
  EXPECT_EQ(report->remarks.size(), 2U);  // a disk each
  EXPECT_TRUE(disks_[0]->has("saltmarsh-radio-2/R001/PRIVATE/M4ROOT/CLIP/C0001.MP4"));
  // Neither catching up nor repairing moves what is the other's.
  const auto list = disks_[0]->get("saltmarsh-radio/R001.xxh128");
  ASSERT_TRUE(disks_[0]->remove("saltmarsh-radio-2/R001/PRIVATE/M4ROOT/CLIP/C0001.MP4"));
  auto destinations = open();
  Pipeline pipeline(*other, plan, clock_);
  ASSERT_TRUE(pipeline.verify(destinations, {}, [](auto, auto) {}, {}));
  ASSERT_TRUE(pipeline.repair(destinations, {}, {}, {}));
  EXPECT_TRUE(disks_[0]->has("saltmarsh-radio-2/R001/PRIVATE/M4ROOT/CLIP/C0001.MP4"));
  EXPECT_EQ(disks_[0]->get("saltmarsh-radio/R001.xxh128"), list);
  expect_yes_that_is_true();
}

// ---- What is kept already -----------------------------------------------------------------------------------------

TEST_F(WrongYes, AFolderOfACardBringsNoTakeASecondTime) {
  const auto first = offload();
  MemFs folder;  // the card's PRIVATE, as it is seen when that is named
  for (const auto& file : card_.files()) {
    const auto below = file.substr(std::string("PRIVATE/").size());
    folder.put(below, card_.get(file), card_.stat(file)->mtime);
  }
  auto volume = *card_.volume();
  volume.within = "/PRIVATE";
  const Card card{"/media/card/PRIVATE", folder, volume};
  const auto visit = [&](bool only_judge) {
    auto destinations = open();
    Pipeline pipeline(*catalogue_, plan_, clock_);
    if (!only_judge) {
      const auto report = pipeline.ingest(card, destinations, {}, {}, {});
      EXPECT_EQ(report->roll, "R001");
      EXPECT_EQ(report->met, (std::map<std::string, std::size_t>{{"R001", folder.files().size()}}));
      EXPECT_EQ(report->clips, first->clips);
      EXPECT_TRUE(report->problems.empty());
    }
    return *pipeline.check_safe(card, destinations, false, {});
  };
  EXPECT_EQ(codes(visit(true)), Codes{"not_offloaded"});
  EXPECT_TRUE(visit(false).safe);
  EXPECT_TRUE(visit(true).safe);
  EXPECT_EQ(catalogue_->rolls()->size(), 1U);
  EXPECT_EQ(catalogue_->clips()->size(), first->clips.size());
  EXPECT_TRUE(check_safe().safe);
  // A clip that is like one that is kept but for a byte in the middle is another one.
  folder.alter("M4ROOT/CLIP/C0009.MP4", 2'500'000);
  MemFs copy;
  copy.put("C0009.MP4", folder.get("M4ROOT/CLIP/C0009.MP4"));
  auto destinations = open();
  const auto other =
      Pipeline(*catalogue_, plan_, clock_).ingest({"/media/other", copy, *copy.volume()}, destinations, {}, {}, {});
  EXPECT_EQ(other->roll, "R002");
  EXPECT_TRUE(other->met.empty());
}

// ---- Blocking, and needless noes ----------------------------------------------------------------------------------

TEST_F(WrongYes, AnOldClipThatCanNotBeReadKeepsNothingElseFromBeingCopied) {
  ASSERT_TRUE(offload());
  shoot("C0003", 3);
  FaultFs card(card_);
  card.fail_at(std::string("read ") + kClip + " #1", Code::io);
  const auto report = offload(card, open());
  ASSERT_TRUE(report) << report.error().what;
  EXPECT_EQ(problems(*report), Codes{"unreadable"});
  EXPECT_TRUE(disks_[0]->has(at("R002", "C0003")));
  expect_yes_that_is_true();
}

TEST_F(WrongYes, CopiesThatAreBadOnBothDisksAreMadeAnewFromTheCard) {
  ASSERT_TRUE(offload());
  for (auto& disk : disks_) {
    const auto stored = Path("saltmarsh-radio/R001") / kClip;
    auto bytes = disk->get(stored);
    bytes[77] ^= 1;
    disk->put(stored, bytes);
  }
  EXPECT_FALSE(check_safe().safe);
  const auto report = offload();
  EXPECT_EQ(problems(*report), Codes{"bytes_differ"});
  expect_yes_that_is_true();
  EXPECT_TRUE(disks_[0]->has(Path("saltmarsh-radio/R001.bad") / kClip));
}

TEST_F(WrongYes, WhatIsGoneAndHasNoRoomIsNotCalledVerified) {
  ASSERT_TRUE(offload());
  ASSERT_TRUE(disks_[1]->remove(Path("saltmarsh-radio/R001") / kClip));
  auto volume = *disks_[1]->volume();
  volume.total_bytes = 10'000'000;
  volume.free_bytes = 1000;
  disks_[1]->set_volume(volume);
  const auto report = offload();
  EXPECT_EQ(report->destinations[1].state, IngestReport::Destination::State::failed);
  EXPECT_EQ(report->destinations[1].files, report->files - 1);
}

TEST_F(WrongYes, TimesThatAChangeOfZoneMovedMakeNoNewRoll) {
  ASSERT_TRUE(offload());
  for (const auto& file : card_.files()) {
    const auto mtime = card_.stat(file)->mtime;
    card_.put(file, card_.get(file), mtime + std::chrono::hours(2));
  }
  EXPECT_TRUE(check_safe().safe);
  const auto report = offload();
  EXPECT_EQ(report->roll, "R001");
  EXPECT_EQ(report->destinations[0].copied_files, 0U);
}

// With the laptop lost it is the last copy of every tag.
TEST_F(WrongYes, AKeptCatalogueThatReadsBackWrongNeverReplacesTheGoodOne) {
  ASSERT_TRUE(offload());
  const auto kept = disks_[0]->get("saltmarsh-radio/catalogue.sqlite");
  ASSERT_FALSE(kept.empty());
  shoot("C0003", 3);
  auto destinations = open();
  auto& faulty = dynamic_cast<FaultFs&>(*destinations[0].fs);
  faulty.flip_at("append saltmarsh-radio/catalogue.sqlite.everytake-part #1");
  const auto report = offload(card_, std::move(destinations));
  ASSERT_TRUE(report);
  EXPECT_EQ(problems(*report), Codes{"no_backup"});
  EXPECT_EQ(disks_[0]->get("saltmarsh-radio/catalogue.sqlite"), kept);
  EXPECT_NE(disks_[1]->get("saltmarsh-radio/catalogue.sqlite"), kept);
}

// A visit that was cut between a copy's name and its row knows nothing of the copy, and what lies there may have become
// other bytes since: by a disk that had not written what it said, as after a power cut.
class CutAfterTheName : public WrongYes {
 protected:
  CutAfterTheName() {
    auto destinations = open();
    dynamic_cast<FaultFs&>(*destinations[0].fs).fail_at(kFolderSynced, Code::io, FaultFs::Then::dead);
    EXPECT_TRUE(offload(card_, std::move(destinations)));
    EXPECT_EQ(disks_[0]->get(stored_), card_.get(kClip));
  }
  static constexpr const char* kFolderSynced = "sync_folder saltmarsh-radio/R001/PRIVATE/M4ROOT/CLIP #1";
  const Path stored_ = "saltmarsh-radio/R001/" + std::string(kClip);
};

TEST_F(CutAfterTheName, ACopyThatIsWrongNowIsSetAsideAndCopiedAgain) {
  disks_[0]->alter(stored_, 100);
  const auto wrong = disks_[0]->get(stored_);
  const auto report = offload();
  ASSERT_TRUE(report);
  EXPECT_EQ(problems(*report), Codes{"bytes_differ"});
  EXPECT_TRUE(kept_aside(*disks_[0], wrong));
  expect_yes_that_is_true();
}

TEST_F(CutAfterTheName, APersonsFileThatTookTheNameMeanwhileStays) {
  disks_[0]->put(stored_, "my own", FileTime(std::chrono::seconds(1'700'001'000)));
  const auto report = offload();
  ASSERT_TRUE(report);
  EXPECT_EQ(problems(*report), Codes{"name_taken"});
  EXPECT_EQ(disks_[0]->get(stored_), "my own");
  EXPECT_FALSE(check_safe().safe);
}

}  // namespace
}  // namespace everytake
