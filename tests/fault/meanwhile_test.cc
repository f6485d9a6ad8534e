// What other programs, other catalogues and other folders of a card do between two looks: none of it makes a wrong yes.
#include <gtest/gtest.h>

#include <algorithm>

#include "pipeline/card_lock.h"
#include "pipeline/marks.h"
#include "support/happening_fs.h"
#include "support/ingest_bench.h"
#include "support/rooms.h"

namespace everytake {
namespace {

using test::HappeningFs;
using test::MemFs;

class Meanwhile : public test::IngestBench {
 protected:
  Meanwhile() {
    plan_.performer = "Tollhouse Four";
    card_.put(kClip, std::string(5'000'000, 'm'));
  }

  // The card's PRIVATE folder, as it is seen when that is named.
  MemFs& folder() {
    for (const auto& file : card_.files())
      folder_.put(file.substr(std::string("PRIVATE/").size()), card_.get(file), card_.stat(file)->mtime);
    return folder_;
  }
  // The middle of a clip, where no sample looks, with its size and time as they were.
  static void change_the_middle(MemFs& card, const Path& clip) { card.alter(clip, 2'500'000); }

  Verdict judge_of(const ReadFs& card) {
    auto destinations = open();
    return *Pipeline(*catalogue_, plan_, clock_).check_safe(seen(card), destinations, false, {});
  }
  // Whether the bytes lie on each disk among the copies, and not only among what was set aside.
  bool are_kept(const std::string& bytes) {
    return std::ranges::all_of(disks_, [&](const auto& disk) {
      const auto files = copies_on(*disk);
      return std::ranges::any_of(files, [&](const std::string& file) {
        return file.find(".bad/") == std::string::npos && disk->get(file) == bytes;
      });
    });
  }
  void expect_true(const Verdict& verdict, const MemFs& card) {
    if (!verdict.safe) return;
    for (const auto& file : card.files()) EXPECT_TRUE(are_kept(card.get(file))) << file;
  }

  static constexpr const char* kClip = "PRIVATE/M4ROOT/CLIP/C0009.MP4";
  static constexpr const char* kInFolder = "M4ROOT/CLIP/C0009.MP4";
  MemFs folder_;
};

// ---- Other programs -----------------------------------------------------------------------------------------------

TEST_F(Meanwhile, ACopyChangedBetweenItsReadingAndItsNameIsCopiedAgain) {
  auto destinations = open();
  HappeningFs* shuttle = nullptr;
  std::string changed;
  const auto change = [&] {
    changed = disks_[1]->get(shuttle->renamed_from());
    changed[99] ^= 1;
    disks_[1]->rewrite(shuttle->renamed_from(), changed);
  };
  auto happening = std::make_unique<HappeningFs>(*disks_[1], "rename", "C0001.MP4", change);
  shuttle = happening.get();
  destinations[1].fs = std::move(happening);
  const auto report = offload(card_, std::move(destinations));
  ASSERT_TRUE(report) << report.error().what;
  EXPECT_FALSE(report->problems.empty());
  // By its time it is what the visit left, with other bytes: set aside, and copied again.
  EXPECT_TRUE(std::ranges::any_of(disks_[1]->files(), [&](const auto& file) {
    return file.find("/R001.bad/") != std::string::npos && disks_[1]->get(file) == changed;
  }));
  EXPECT_TRUE(check_safe().safe);
  expect_true(check_safe(), card_);
}

TEST_F(Meanwhile, AFileOfAPersonUnderACopysNameStaysWhereItIs) {
  ASSERT_TRUE(offload(card_, open("shuttle")));
  const auto stored = at("R001", "C0001");
  disks_[1]->put(stored, "what a person put there", FileTime(std::chrono::seconds(1'000'000'000)));
  auto destinations = open();
  const auto repaired = Pipeline(*catalogue_, plan_, clock_).repair(destinations, {}, {}, {});
  ASSERT_TRUE(repaired) << repaired.error().what;
  EXPECT_EQ(disks_[1]->get(stored), "what a person put there");
  EXPECT_TRUE(
      std::ranges::any_of(repaired->problems, [&](const Problem& each) { return each.destination == "shuttle"; }));
  EXPECT_FALSE(check_safe().safe);
}

// ---- Other catalogues ---------------------------------------------------------------------------------------------

// A catalogue brought back from a disk's copy while the one it comes from is at work does not know the claim that one
// has made since.
TEST_F(Meanwhile, ACatalogueRestoredDuringAVisitKeepsOut) {
  ASSERT_TRUE(offload());
  const auto bytes = disks_[0]->get("saltmarsh-radio/catalogue.sqlite");
  const auto owner = **read_owner(*disks_[0], "saltmarsh-radio");
  shoot("C0003", 3);
  Result<IngestReport> others = fail(Code::io, "it never came to it");
  HappeningFs card(card_, "open", "C0003.MP4", [&] {
    test::put_file(dir_ / "restored.sqlite", bytes);
    const auto restored = *Catalogue::open(dir_ / "restored.sqlite");
    ASSERT_TRUE(restored->take_over(owner.catalogue, owner.stamp));
    MemFs another;
    another.put("PRIVATE/M4ROOT/CLIP/C0001.MP4", "of another card");
    auto destinations = open();
    others = Pipeline(*restored, plan_, clock_).ingest(seen(another), destinations, {}, {}, {});
  });
  const auto mine = offload(card, open());
  ASSERT_TRUE(card.happened());
  ASSERT_TRUE(mine) << mine.error().what;
  ASSERT_FALSE(others);
  EXPECT_EQ(others.error().code, Code::invalid);
  EXPECT_NE(others.error().what.find("rebuild"), std::string::npos) << others.error().what;
  EXPECT_TRUE(check_safe().safe);
}

TEST_F(Meanwhile, ACatalogueKeptBeforeThereWereClaimsIsSetAside) {
  ASSERT_TRUE(offload());
  ASSERT_TRUE(disks_[0]->remove(Path("saltmarsh-radio") / kOwnerFile));
  disks_[0]->put("saltmarsh-radio/catalogue.sqlite", "somebody's tags");
  const auto report = offload();
  ASSERT_TRUE(report) << report.error().what;
  EXPECT_EQ(disks_[0]->get("saltmarsh-radio/before-catalogue.sqlite"), "somebody's tags");
  EXPECT_FALSE(disks_[1]->has("saltmarsh-radio/before-catalogue.sqlite"));
  ASSERT_EQ(report->remarks.size(), 1U);
  EXPECT_NE(report->remarks[0].find("before-catalogue.sqlite"), std::string::npos) << report->remarks[0];
  EXPECT_TRUE(check_safe().safe);
}

// ---- Other folders of a card --------------------------------------------------------------------------------------

TEST_F(Meanwhile, WhatWasMetInAFolderIsForgottenWhenTheFilesBytesAreOthers) {
  ASSERT_TRUE(offload());
  ASSERT_TRUE(offload(folder(), open()));
  ASSERT_TRUE(judge_of(folder_).safe);
  change_the_middle(card_, kClip);  // and the folder holds it as it was
  options_.read_twice = true;
  ASSERT_TRUE(offload());
  ASSERT_TRUE(offload());
  ASSERT_TRUE(are_kept(card_.get(kClip)));
  ASSERT_FALSE(are_kept(folder_.get(kInFolder)));
  EXPECT_TRUE(codes(judge_of(folder_)).contains("new_file"));  // not what it was met as
}

TEST_F(Meanwhile, WhatIsOfItsOwnIsNotTakenForWhatWasMetBefore) {
  ASSERT_TRUE(offload());
  ASSERT_TRUE(offload(folder(), open()));
  change_the_middle(folder_, kInFolder);
  options_.read_twice = true;  // else nothing shows it
  const auto report = offload(folder_, open());
  ASSERT_TRUE(report) << report.error().what;
  EXPECT_EQ(report->roll, "R002");
  EXPECT_TRUE(are_kept(folder_.get(kInFolder)));
  EXPECT_TRUE(judge_of(folder_).safe);
  expect_true(judge_of(folder_), folder_);
  expect_true(check_safe(), card_);
}

TEST_F(Meanwhile, OneClipTwiceOnACardIsOneFileThatIsKept) {
  ASSERT_TRUE(offload());
  MemFs card;
  for (const char* name : {"C0009.MP4", "AGAIN.MP4"}) card.put(name, card_.get(kClip));
  const auto report = offload(card, open());
  ASSERT_TRUE(report) << report.error().what;
  EXPECT_EQ(report->met, (std::map<std::string, std::size_t>{{"R001", 2}}));
  for (const auto& each : report->destinations) {
    EXPECT_EQ(each.state, IngestReport::Destination::State::verified);
    EXPECT_EQ(each.files, 1U);
  }
  EXPECT_TRUE(judge_of(card).safe);
}

TEST_F(Meanwhile, AFolderWaitsForTheCardItsFilesAreOf) {
  ASSERT_TRUE(offload());
  const auto roll = (*catalogue_->rolls())[0];
  {
    const auto held = *CardLock::take(*catalogue_, roll.card, clock_);
    const auto refused = offload(folder(), open());
    ASSERT_FALSE(refused);
    EXPECT_EQ(refused.error().code, Code::busy);
  }
  EXPECT_TRUE(offload(folder_, open()));
}

}  // namespace
}  // namespace everytake
