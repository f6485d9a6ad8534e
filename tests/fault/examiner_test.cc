// Recordings that take down, hold up or take over the process that reads them: nothing else is touched.
#include <gtest/gtest.h>
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

#include <atomic>
#include <boost/filesystem.hpp>
#include <fstream>
#include <iterator>
#include <set>
#include <thread>

#include "examiner.h"
#include "media/facts.h"
#include "support/ingest_bench.h"
#include "support/sanitized.h"

namespace everytake {
namespace {

using test::MemFs;

ClipFiles clip_named(const std::string& name) {
  return {.name = name, .parts = {{name + ".MP4", FileRole::video}}};
}

class ExaminerMeets : public testing::TestWithParam<std::pair<const char*, const char*>> {
 protected:
  const Examiner examiner_{Path(EVERYTAKE_BINARY_DIR) / "tests/bad_examiner"};
};

TEST_P(ExaminerMeets, ARecordingThatEndsItsProcess) {
  const auto [name, words] = GetParam();
  MemFs fs;
  fs.put(std::string(name) + ".MP4", "some bytes");
  const auto facts = examiner_.facts(fs, "", clip_named(name), {}, {});
  ASSERT_TRUE(facts) << facts.error().what;
  ASSERT_EQ(facts->problems.size(), 1U);
  EXPECT_EQ(facts->problems[0].code, "unreadable");
  EXPECT_NE(facts->problems[0].message.find(words), std::string::npos) << facts->problems[0].message;
  const auto sound = examiner_.sound(fs, std::string(name) + ".MP4", 8000, {});
  ASSERT_FALSE(sound);
  EXPECT_EQ(sound.error().code, Code::corrupt) << sound.error().what;
}

INSTANTIATE_TEST_SUITE_P(All, ExaminerMeets,
                         testing::Values(std::pair("CRASH", test::kSanitized ? "with code" : "by signal 11"),
                                         std::pair("NONSENSE", "nonsense"), std::pair("FLOOD", "too much"),
                                         std::pair("HALF", "with code 3"), std::pair("PRYING", "with code 3")),
                         [](const auto& tested) { return std::string(tested.param.first); });

TEST(Examiner, EndsAProcessThatEatsMemoryOrTime) {
  if (test::kSanitized) GTEST_SKIP() << "a sanitizer needs more memory than the limit";
  const Examiner examiner(Path(EVERYTAKE_BINARY_DIR) / "tests/bad_examiner");
  for (const auto& [name, words] : {std::pair("HUNGRY", "512 MB"), std::pair("ENDLESS", "10 s of computing")}) {
    MemFs fs;
    fs.put(std::string(name) + ".MP4", "some bytes");
    const auto facts = examiner.facts(fs, "", clip_named(name), {}, {});
    ASSERT_TRUE(facts) << facts.error().what;
    EXPECT_NE(facts->problems.at(0).message.find(words), std::string::npos) << facts->problems[0].message;
  }
}

TEST(Examiner, BelievesNoFactsThatCanNotBe) {
  const Examiner examiner(Path(EVERYTAKE_BINARY_DIR) / "tests/bad_examiner");
  MemFs fs;
  fs.put("UNFIT.MP4", "some bytes");
  const auto facts = examiner.facts(fs, "", clip_named("UNFIT"), {}, {});
  ASSERT_TRUE(facts);
  EXPECT_EQ(facts->problems.at(0).code, "unreadable");
  EXPECT_FALSE(facts->duration);
}

TEST(Examiner, SaysWhatIsKnownInOneProcess) {
  const Examiner examiner(Path(EVERYTAKE_BINARY_DIR) / "everytake");
  MemFs fs;
  fs.put("C0001.MP4", "");
  fs.put("C0002.MP4", std::string(100, 'x'));
  for (const char* name : {"C0001", "C0002"}) {
    const auto there = examiner.facts(fs, "", clip_named(name), {}, {});
    const auto here = read_facts(fs, "", clip_named(name), {}, {});
    ASSERT_TRUE(there && here) << name;
    EXPECT_EQ(there->problems, here->problems);
    EXPECT_EQ(there->problems.empty(), false);
  }
  EXPECT_EQ(examiner.sound(fs, "C0003.MP4", 8000, {}).error().code, Code::not_found);
}

// Processes that this one started, by their numbers; proc_pid_stat(5): after the name in brackets, state and parent.
std::set<pid_t> started() {
  std::set<pid_t> pids;
  for (const auto& process : boost::filesystem::directory_iterator("/proc")) {
    std::ifstream file((process.path() / "stat").string());
    std::string words, state;
    pid_t parent = 0;
    if (std::getline(file, words, ')') && file >> state >> parent && parent == ::getpid())
      pids.insert(std::stoi(process.path().filename().string()));
  }
  return pids;
}

TEST(Examiner, StartsItsProgramOnceAndAgainWhereItWasEnded) {
  const Examiner examiner(Path(EVERYTAKE_BINARY_DIR) / "tests/bad_examiner");
  MemFs fs;
  fs.put("HALF.MP4", "some bytes");
  const auto ends_its_process = [&] {
    const auto facts = examiner.facts(fs, "", clip_named("HALF"), {}, {});
    return facts && facts->problems.at(0).message.find("with code 3") != std::string::npos;
  };
  const auto before = started();
  const auto new_ones = [&] {
    std::vector<pid_t> pids;
    const auto now = started();
    std::set_difference(now.begin(), now.end(), before.begin(), before.end(), std::back_inserter(pids));
    return pids;
  };
  ASSERT_TRUE(ends_its_process());
  const auto first = new_ones();
  ASSERT_EQ(first.size(), 1U);
  EXPECT_TRUE(ends_its_process());
  EXPECT_EQ(new_ones(), first);
  ::kill(first[0], SIGKILL);
  siginfo_t how{};
  ASSERT_EQ(::waitid(P_PID, static_cast<id_t>(first[0]), &how, WEXITED | WNOWAIT), 0);
  EXPECT_TRUE(ends_its_process());
  const auto second = new_ones();
  ASSERT_EQ(second.size(), 1U);
  EXPECT_NE(second, first);
}

TEST(Examiner, LooksIntoSeveralRecordingsAtOnce) {
  const Examiner examiner(Path(EVERYTAKE_BINARY_DIR) / "everytake");
  MemFs fs;
  fs.put("C0001.MP4", std::string(100, 'x'));
  std::atomic<int> right = 0;
  {
    std::vector<std::jthread> threads;
    for (int i = 0; i < 4; ++i)
      threads.emplace_back([&] {
        for (int j = 0; j < 5; ++j) {
          const auto facts = examiner.facts(fs, "", clip_named("C0001"), {}, {});
          right += facts && facts->problems.at(0).code == "unreadable";
        }
      });
  }
  EXPECT_EQ(right, 20);
}

// Asks for a stop as soon as the recording is looked into.
class StoppingFs final : public ReadFs {
 public:
  explicit StoppingFs(std::stop_source& stop) : stop_(stop) { fs_.put("ENDLESS.MP4", "some bytes"); }
  Result<FileStat> stat(const Path& path) const override { return fs_.stat(path); }
  Result<std::vector<DirEntry>> list(const Path& folder) const override { return fs_.list(folder); }
  Result<Volume> volume() const override { return fs_.volume(); }
  Result<std::unique_ptr<ReadFile>> open(const Path& path, Cache cache) const override {
    stop_.request_stop();
    return fs_.open(path, cache);
  }

 private:
  MemFs fs_;
  std::stop_source& stop_;
};

TEST(Examiner, StopsWhenAsked) {
  const Examiner examiner(Path(EVERYTAKE_BINARY_DIR) / "tests/bad_examiner");
  std::stop_source stop;
  const StoppingFs fs(stop);
  EXPECT_EQ(examiner.facts(fs, "", clip_named("ENDLESS"), {}, stop.get_token()).error().code, Code::cancelled);
  EXPECT_TRUE(stop.stop_requested());
}

TEST(Examiner, SaysWhenItsProgramIsNotThere) {
  MemFs fs;
  fs.put("C0001.MP4", "some bytes");
  const auto facts = Examiner("/nowhere/everytake").facts(fs, "", clip_named("C0001"), {}, {});
  ASSERT_FALSE(facts);
  EXPECT_EQ(facts.error().code, Code::not_found);
}

class Studied : public test::IngestBench {};

TEST_F(Studied, CopiesAndVerdictStandWhateverAClipDoesToItsProcess) {
  shoot("CRASH", 5);
  ASSERT_TRUE(offload());
  auto destinations = open();
  Pipeline pipeline(*catalogue_, plan_, clock_, {}, Examiner(Path(EVERYTAKE_BINARY_DIR) / "tests/bad_examiner"));
  const auto studied = pipeline.study(destinations, {}, {});
  ASSERT_TRUE(studied) << studied.error().what;
  EXPECT_EQ(*studied, 3U);
  EXPECT_TRUE(judge().safe);
  const auto clips = *catalogue_->clips();
  for (const auto& clip : clips) EXPECT_EQ(clip.facts.problems.at(0).code, "unreadable") << clip.name;
  EXPECT_EQ(catalogue_->clips_to_study({})->size(), 0U);  // it is not tried for ever
}

}  // namespace
}  // namespace everytake
