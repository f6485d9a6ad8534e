// Very many files through the real program: its memory stays small.
// EVERYTAKE_MANY_FILES says how many (2000 where it is not set; 100000 is the long run).
#include <fcntl.h>
#include <gtest/gtest.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cstdlib>

#include "support/rooms.h"
#include "support/sanitized.h"
#include "support/shoot_bench.h"

namespace everytake {
namespace {

using test::quoted;
using test::shell;

class ManyFiles : public test::ShootBench {
 protected:
  ManyFiles() {
    shoot_ = memory_ / "shoot";
    desk_ = memory_ / "desk";
    shell("mkdir -p " + quoted(desk_));
    auto text = plan();
    text.insert(text.find("[[destination]]\nname = \"shuttle\""), "accept_cached = true\nsame_disk = \"allow\"\n");
    test::put_file(shoot_ / "shoot.toml", text);
  }

  // Most of them in one folder, and some as deep as is looked.
  void fill_card(int files) const {
    for (int i = 0; i < files; ++i)
      test::put_file(card_ / "DCIM" / (i % 10 < 6 ? "100MEDIA" : std::to_string(101 + i % 97) + "MEDIA") /
                         ("P" + std::to_string(i) + ".JPG"),
                     "picture " + std::to_string(i));
    std::string deep = "deep";
    for (int i = 0; i < 50; ++i) deep += "/d";
    put(deep + "/last.JPG", 100);
  }

  // The exit code, and the most memory the program ever held, in MB.
  std::pair<int, long> run(std::vector<std::string> words) const {
    std::vector<char*> arguments;
    for (auto& word : words) arguments.push_back(word.data());
    arguments.push_back(nullptr);
    const pid_t child = ::fork();
    if (child == 0) {
      const int none = ::open("/dev/null", O_RDWR);
      for (const int fd : {STDOUT_FILENO, STDERR_FILENO}) ::dup2(none, fd);
      ::execv(arguments[0], arguments.data());
      ::_exit(127);
    }
    int status = 0;
    rusage usage{};
    ::wait4(child, &status, 0, &usage);
    return {WIFEXITED(status) ? WEXITSTATUS(status) : -1, usage.ru_maxrss / 1024};
  }

  test::TempDir memory_{"/dev/shm"};
};

TEST_F(ManyFiles, TakeLittleMemory) {
  const char* said = std::getenv("EVERYTAKE_MANY_FILES");
  const int files = said ? std::atoi(said) : 2000;
  fill_card(files);
  const auto binary = Path(EVERYTAKE_BINARY_DIR) / "everytake";
  const auto [exit, peak] = run({binary.string(), "--shoot", shoot_.string(), "offload", "--no-study", card_.string()});
  EXPECT_EQ(exit, 0);
  std::cout << files << " files: at most " << peak << " MB\n";
  if (!test::kSanitized) {
    EXPECT_LT(peak, 200);
  }
  EXPECT_EQ(shell("diff -r " + quoted(card_) + " " + quoted(desk_ / "saltmarsh-radio/R001")).exit, 0);
}

}  // namespace
}  // namespace everytake
