#include "offload/copy.h"

#include <gtest/gtest.h>

#include "support/copy_bench.h"
#include "support/fault_fs.h"
#include "support/rooms.h"

namespace everytake {
namespace {

using test::FaultFs;
using test::MemFs;
using test::Recorder;

std::string noise(std::size_t size, unsigned seed) {
  std::string bytes(size, '\0');
  std::uint64_t state = seed * 2654435761U + 1;
  for (auto& byte : bytes) {
    state = state * 6364136223846793005U + 1442695040888963407U;
    byte = static_cast<char>(state >> 56);
  }
  return bytes;
}

// Two clips, one of more than a block, and three small files.
class Copying : public testing::Test {
 protected:
  Copying() {
    put("CLIP/C0001.MP4", noise(9'000'001, 1));
    put("CLIP/C0001M01.XML", "<xml/>");
    put("CLIP/C0002.MP4", noise(2'000'000, 2));
    put("EMPTY.BIN", "");
    put("STATUS.BIN", noise(400, 3));
  }

  void put(const Path& path, std::string bytes) {
    card_.put(path, bytes);
    jobs_.push_back({FileId{static_cast<std::int64_t>(jobs_.size()) + 1},
                     {path, bytes.size(), card_.stat(path)->mtime},
                     Path("song/R001") / path,
                     {0, 1}});
  }

  Result<void> run(const ReadFs& card, Fs& a, Fs& b, Recorder& recorder, CopyOptions options = {},
                   std::stop_token stop = {}) {
    const Target targets[] = {{"desk", &a}, {"shuttle", &b}};
    return copy_files(card, jobs_, targets, options, recorder, stop);
  }

  void expect_whole(const MemFs& at) {
    for (const auto& job : jobs_) EXPECT_EQ(at.get(job.stored), card_.get(job.source.path)) << job.stored;
  }

  // Whatever happened: nothing under a final name differs from the card, and what was called verified is there.
  void expect_honest(const MemFs& at, std::size_t target, const Recorder& recorder) {
    for (const auto& job : jobs_) {
      if (at.has(job.stored)) {
        EXPECT_EQ(at.get(job.stored), card_.get(job.source.path)) << job.stored;
      } else {
        EXPECT_FALSE(recorder.verified(job.file.value, target)) << job.stored;
      }
    }
  }

  MemFs card_, desk_, shuttle_;
  std::vector<CopyJob> jobs_;
};

TEST_F(Copying, PutsEveryFileAtEveryDestinationAndLeavesNothingElse) {
  Recorder recorder;
  ASSERT_TRUE(run(card_, desk_, shuttle_, recorder));
  expect_whole(desk_);
  expect_whole(shuttle_);
  EXPECT_EQ(desk_.files().size(), jobs_.size());
  EXPECT_EQ(recorder.readings.size(), jobs_.size());
  for (const auto& job : jobs_)
    for (const std::size_t target : {0U, 1U}) EXPECT_TRUE(recorder.verified(job.file.value, target));
  EXPECT_EQ(desk_.stat(jobs_[0].stored)->mtime, jobs_[0].source.mtime);
}

TEST_F(Copying, GivesTheSameSampleAsALookAtBothEnds) {
  Recorder recorder;
  ASSERT_TRUE(run(card_, desk_, shuttle_, recorder));
  for (const auto& reading : recorder.readings)
    EXPECT_EQ(reading.digests->sample, *sample_of(card_, reading.source)) << reading.source.path;
}

TEST_F(Copying, SurvivesAPowerCutOnceItWasRecorded) {
  Recorder recorder;
  ASSERT_TRUE(run(card_, desk_, shuttle_, recorder));
  desk_.crash();
  shuttle_.crash();
  expect_whole(desk_);
  expect_whole(shuttle_);
}

TEST_F(Copying, LeavesTheOtherDestinationAloneWhenOneFills) {
  desk_.set_capacity(5'000'000);
  Recorder recorder;
  ASSERT_TRUE(run(card_, desk_, shuttle_, recorder));
  expect_whole(shuttle_);
  expect_honest(desk_, 0, recorder);
  EXPECT_FALSE(recorder.verified(1, 0));
  EXPECT_EQ(recorder.stored.at({1, 0}).error().code, Code::no_space);
  for (const auto& name : desk_.files()) EXPECT_EQ(name.find(".everytake-part"), std::string::npos) << name;
}

TEST_F(Copying, FindsABitThatTheDestinationFlipped) {
  FaultFs desk(desk_);
  desk.flip_at("append song/R001/CLIP/file-1.everytake-part #2");
  Recorder recorder;
  ASSERT_TRUE(run(card_, desk, shuttle_, recorder));
  ASSERT_TRUE(desk.hit());
  EXPECT_EQ(recorder.stored.at({1, 0}).error().code, Code::corrupt);
  EXPECT_FALSE(desk_.has(jobs_[0].stored));
  expect_whole(shuttle_);
}

TEST_F(Copying, ReadsAFileAgainWhenTheCardStumbles) {
  FaultFs card(card_);
  card.fail_at("read CLIP/C0001.MP4 #2", Code::io);
  Recorder recorder;
  ASSERT_TRUE(run(card, desk_, shuttle_, recorder));
  expect_whole(desk_);
  EXPECT_EQ(recorder.readings.front().readings, 2);  // a stumble asks for a second, equal reading
}

TEST_F(Copying, FindsAReaderThatGivesOtherBytesTheSecondTime) {
  FaultFs card(card_);
  card.flip_at("read CLIP/C0002.MP4 #1");
  Recorder recorder;
  ASSERT_TRUE(run(card, desk_, shuttle_, recorder, {.read_twice = true}));
  ASSERT_TRUE(card.hit());
  int differing = 0;
  for (const auto& reading : recorder.readings)
    if (!reading.digests && reading.digests.error().code == Code::corrupt) ++differing;
  EXPECT_EQ(differing, 1);
}

TEST_F(Copying, StopsWhenTheCardIsPulledAndKeepsWhatIsVerified) {
  FaultFs card(card_);
  card.fail_at("read CLIP/C0002.MP4 #1", Code::gone, FaultFs::Then::dead);
  Recorder recorder;
  EXPECT_EQ(run(card, desk_, shuttle_, recorder).error().code, Code::gone);
  EXPECT_TRUE(recorder.verified(1, 0));
  expect_honest(desk_, 0, recorder);
  Recorder again;
  ASSERT_TRUE(run(card_, desk_, shuttle_, again));
  expect_whole(desk_);
  expect_whole(shuttle_);
}

TEST_F(Copying, AdoptsAnEqualFileAndNeverReplacesAnother) {
  desk_.put(jobs_[0].stored, card_.get(jobs_[0].source.path));
  desk_.put(jobs_[2].stored, "somebody else's");
  Recorder recorder;
  ASSERT_TRUE(run(card_, desk_, shuttle_, recorder));
  EXPECT_TRUE(recorder.verified(1, 0));
  EXPECT_EQ(recorder.stored.at({3, 0}).error().code, Code::exists);
  EXPECT_EQ(desk_.get(jobs_[2].stored), "somebody else's");
}

TEST_F(Copying, EndsWhenNothingCanBeRecorded) {
  Recorder recorder;
  recorder.refuse();
  EXPECT_EQ(run(card_, desk_, shuttle_, recorder).error().code, Code::io);
}

TEST_F(Copying, StopsWhenAskedAndGoesOnLater) {
  std::stop_source stop;
  stop.request_stop();
  Recorder recorder;
  EXPECT_EQ(run(card_, desk_, shuttle_, recorder, {}, stop.get_token()).error().code, Code::cancelled);
  ASSERT_TRUE(run(card_, desk_, shuttle_, recorder));
  expect_whole(desk_);
}

// Fails every single operation at one destination, once carrying on and once with a power cut there, and looks
// whether anything untrue was said or left behind; then runs again and wants everything whole.
class Sweep : public Copying, public testing::WithParamInterface<std::string> {
 protected:
  static FaultFs::Then then() { return GetParam() == "PowerCut" ? FaultFs::Then::dead : FaultFs::Then::carry_on; }
};

TEST_P(Sweep, TellsTheTruthWhicheverOperationFails) {
  std::vector<std::string> operations;
  {
    MemFs a, b;
    FaultFs counted(a);
    Recorder recorder;
    ASSERT_TRUE(run(card_, counted, b, recorder));
    operations = counted.operations();
  }
  ASSERT_GT(operations.size(), 40U);
  for (const auto& operation : operations) {
    SCOPED_TRACE(operation);
    MemFs a, b;
    FaultFs faulty(a);
    faulty.fail_at(operation, Code::io, then());
    Recorder recorder;
    ASSERT_TRUE(run(card_, faulty, b, recorder));
    expect_whole(b);
    if (then() == FaultFs::Then::dead) a.crash(static_cast<unsigned>(operation.size()) % 3);
    expect_honest(a, 0, recorder);
    Recorder again;
    ASSERT_TRUE(run(card_, a, b, again));
    expect_whole(a);
  }
}

INSTANTIATE_TEST_SUITE_P(After, Sweep, testing::Values("CarryingOn", "PowerCut"),
                         [](const auto& name) { return name.param; });

}  // namespace
}  // namespace everytake
