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

#include "examiner/examiner.h"
#include "media/facts.h"
#include "support/ingest_bench.h"
#include "support/rooms.h"
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
  EXPECT_EQ(facts->problems[0].code, ProblemCode::unreadable);
  EXPECT_NE(facts->problems[0].message.find(words), std::string::npos) << facts->problems[0].message;
  const auto sound = examiner_.sound(fs, std::string(name) + ".MP4", 8000, {});
  ASSERT_FALSE(sound);
  EXPECT_EQ(sound.error().code, Code::corrupt) << sound.error().what;
}

INSTANTIATE_TEST_SUITE_P(All, ExaminerMeets,
                         testing::Values(std::pair("CRASH", test::kSanitized ? "with code" : "by signal 11"),
                                         std::pair("NONSENSE", "nonsense"), std::pair("FLOOD", "too much"),
                                         std::pair("DEEP", "can't be"), std::pair("KEYS", "can't be"),
                                         std::pair("MORE", "too much"), std::pair("HALF", "with code 3"),
                                         std::pair("PRYING", "with code 3")),
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
  EXPECT_EQ(facts->problems.at(0).code, ProblemCode::unreadable);
  EXPECT_FALSE(facts->duration);
}

TEST(Examiner, SaysWhatIsKnownInOneProcess) {
  const Examiner examiner(Path(EVERYTAKE_BINARY_DIR) / "everytake-examiner");
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

struct Process {
  pid_t pid = 0, parent = 0, group = 0;
  char state = 0;
};
// All there are; proc_pid_stat(5): after the name in brackets.
std::vector<Process> processes() {
  std::vector<Process> all;
  for (const auto& folder : boost::filesystem::directory_iterator("/proc")) {
    Process one;
    std::ifstream file((folder.path() / "stat").string());
    std::string name;
    if (std::getline(file, name, ')') && file >> one.state >> one.parent >> one.group && std::stoi(name) > 0) {
      one.pid = std::stoi(name);
      all.push_back(one);
    }
  }
  return all;
}

// Those that this process started.
std::set<pid_t> started() {
  std::set<pid_t> pids;
  for (const auto& each : processes())
    if (each.parent == ::getpid()) pids.insert(each.pid);
  return pids;
}

// Those it started since `before`.
std::vector<pid_t> started_since(const std::set<pid_t>& before) {
  std::vector<pid_t> pids;
  const auto now = started();
  std::set_difference(now.begin(), now.end(), before.begin(), before.end(), std::back_inserter(pids));
  return pids;
}

// Whether nothing of a server's is left, nor what was split off from it. What is killed takes its time to go, and
// nothing tells its grandparent; the minute only ends a failing test.
bool is_gone(pid_t server) {
  for (int i = 0; i < 6000; ++i) {
    const auto all = processes();
    if (std::none_of(all.begin(), all.end(), [&](const auto& p) { return p.group == server && p.state != 'Z'; }))
      return true;
    std::this_thread::sleep_for(std::chrono::milliseconds(10));
  }
  return false;
}

bool ends_its_process(const Examiner& examiner) {
  MemFs fs;
  fs.put("HALF.MP4", "some bytes");
  const auto facts = examiner.facts(fs, "", clip_named("HALF"), {}, {});
  return facts && facts->problems.at(0).message.find("with code 3") != std::string::npos;
}

TEST(Examiner, StartsItsProgramOnceAndAgainWhereItWasEnded) {
  const auto before = started();
  std::optional<Examiner> examiner(Path(EVERYTAKE_BINARY_DIR) / "tests/bad_examiner");
  ASSERT_TRUE(ends_its_process(*examiner));
  const auto first = started_since(before);
  ASSERT_EQ(first.size(), 1U);
  EXPECT_TRUE(ends_its_process(*examiner));
  EXPECT_EQ(started_since(before), first);
  ::kill(first[0], SIGKILL);
  siginfo_t how{};
  ASSERT_EQ(::waitid(P_PID, static_cast<id_t>(first[0]), &how, WEXITED | WNOWAIT), 0);
  EXPECT_TRUE(ends_its_process(*examiner));
  const auto second = started_since(before);
  ASSERT_EQ(second.size(), 1U);
  EXPECT_NE(second, first);
  examiner.reset();
  EXPECT_TRUE(is_gone(second[0]));
}

TEST(Examiner, IsNotHeldUpByAProcessThatAnswersAndGoesOn) {
  const auto before = started();
  const Examiner examiner(Path(EVERYTAKE_BINARY_DIR) / "tests/bad_examiner");
  MemFs fs;
  fs.put("ANSWERS.MP4", "some bytes");
  ASSERT_TRUE(ends_its_process(examiner));
  const auto server = started_since(before).at(0);
  const auto facts = examiner.facts(fs, "", clip_named("ANSWERS"), {}, {});
  ASSERT_TRUE(facts) << facts.error().what;
  EXPECT_TRUE(facts->problems.empty());
  EXPECT_TRUE(is_gone(server));
  EXPECT_TRUE(ends_its_process(examiner));
}

TEST(Examiner, LooksIntoSeveralRecordingsAtOnce) {
  const Examiner examiner(Path(EVERYTAKE_BINARY_DIR) / "everytake-examiner");
  std::atomic<int> right = 0;
  {
    std::vector<std::jthread> threads;
    for (int i = 0; i < 4; ++i)
      threads.emplace_back([&, i] {
        MemFs fs;
        const auto clip = clip_named("C000" + std::to_string(i));
        fs.put(clip.parts[0].path, std::string(static_cast<std::size_t>(i), 'x'));
        const auto here = read_facts(fs, "", clip, {}, {});
        for (int j = 0; j < 5; ++j) {
          const auto there = examiner.facts(fs, "", clip, {}, {});
          right += here && there && there->problems.size() == 1 && there->problems == here->problems;
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
  Result<void> still_there() const override { return fs_.still_there(); }
  Result<std::unique_ptr<ReadFile>> open(const Path& path, Cache cache) const override {
    working_ = started();
    stop_.request_stop();
    return fs_.open(path, cache);
  }
  // What this process had started by then.
  std::set<pid_t> working() const { return working_; }

 private:
  MemFs fs_;
  std::stop_source& stop_;
  mutable std::set<pid_t> working_;
};

TEST(Examiner, StopsWhenAsked) {
  const Examiner examiner(Path(EVERYTAKE_BINARY_DIR) / "tests/bad_examiner");
  std::stop_source stop;
  const StoppingFs fs(stop);
  EXPECT_EQ(examiner.facts(fs, "", clip_named("ENDLESS"), {}, stop.get_token()).error().code, Code::cancelled);
  EXPECT_TRUE(stop.stop_requested());
  EXPECT_FALSE(fs.working().empty());
  for (const auto pid : fs.working()) EXPECT_TRUE(is_gone(pid));
}

TEST(Examiner, SaysWhenItsProgramIsNotThere) {
  MemFs fs;
  fs.put("C0001.MP4", "some bytes");
  const auto facts = Examiner("/nowhere/everytake").facts(fs, "", clip_named("C0001"), {}, {});
  ASSERT_FALSE(facts);
  EXPECT_EQ(facts.error().code, Code::not_found);
}

// What it would say could be taken for a recording's fault.
TEST(Examiner, BlamesNoRecordingForAProgramOfAnotherVersion) {
  MemFs fs;
  fs.put("C0001.MP4", "some bytes");
  const auto facts = Examiner("/bin/false").facts(fs, "", clip_named("C0001"), {}, {});  // it knows not the word
  ASSERT_FALSE(facts);
  EXPECT_EQ(facts.error().code, Code::gone);
}

class Studied : public test::IngestBench {};

TEST_F(Studied, CopiesAndVerdictStandWhateverAClipDoesToItsProcess) {
  shoot("CRASH", 5);
  ASSERT_TRUE(offload());
  auto destinations = open();
  Pipeline pipeline(*catalogue_, plan_, clock_, {}, Examiner(Path(EVERYTAKE_BINARY_DIR) / "tests/bad_examiner"));
  const auto studied = pipeline.study(destinations, {}, {});
  ASSERT_TRUE(studied) << studied.error().what;
  EXPECT_EQ(studied->clips, 3U);
  EXPECT_TRUE(check_safe().safe);
  const auto clips = *catalogue_->clips();
  for (const auto& clip : clips) EXPECT_EQ(clip.facts.problems.at(0).code, ProblemCode::unreadable) << clip.name;
  EXPECT_EQ(catalogue_->clips_to_study({})->size(), 0U);  // it is not tried for ever
}

}  // namespace
}  // namespace everytake
