// How long a command takes that has next to nothing to do: what loading the program costs.
#include <fmt/format.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <vector>

#include "bench.h"
#include "support/media_card.h"
#include "support/shell.h"
#include "support/temp_dir.h"

namespace everytake::bench {
namespace {

constexpr int kRuns = 40;

double run_ms(const std::vector<std::string>& words) {
  std::vector<char*> arguments;
  for (const auto& word : words) arguments.push_back(const_cast<char*>(word.c_str()));
  arguments.push_back(nullptr);
  const auto begun = std::chrono::steady_clock::now();
  const pid_t child = ::fork();
  if (child == 0) {
    (void)!::freopen("/dev/null", "w", stdout);
    ::execv(arguments[0], arguments.data());
    ::_exit(127);
  }
  int status = 0;
  ::waitpid(child, &status, 0);
  if (!WIFEXITED(status) || WEXITSTATUS(status) != 0) return -1;
  return std::chrono::duration<double, std::milli>(std::chrono::steady_clock::now() - begun).count();
}

void row(const std::string& name, const std::vector<std::string>& words) {
  std::vector<double> times;
  for (int i = 0; i < kRuns; ++i) times.push_back(run_ms(words));
  std::sort(times.begin(), times.end());
  fmt::print("{:<22} {:>7.1f} {:>7.1f} {:>7.1f} ms\n", name, times.front(), times[kRuns / 2], times.back());
}

}  // namespace

int start(std::span<const std::string>) {
  const std::string program = EVERYTAKE_BINARY_DIR "/everytake";
  const test::TempDir dir;
  const auto shoot = dir / "saltmarsh", card = dir / "card";
  const auto set_up =
      test::shell(EVERYTAKE_BINARY_DIR "/tests/make_card " + test::quoted(card) + " --song " +
                  test::quoted(dir / "song.wav") + " && " + program + " --quiet init " + test::quoted(shoot) +
                  " && mv " + test::quoted(dir / "song.wav") + " " + test::quoted(shoot / "saltmarsh-radio.wav") +
                  " && mkdir " + test::quoted(dir / "a") + " " + test::quoted(dir / "b"));
  if (set_up.exit != 0) return fmt::print(stderr, "{}", set_up.err), 1;
  test::put_file(shoot / "shoot.toml",
                 "[shoot]\ntitle = \"Saltmarsh Radio\"\nperformer = \"Tollhouse Four\"\nframe_rate = \"24000/1001\"\n"
                 "[song]\nfile = \"saltmarsh-radio.wav\"\n[[destination]]\nname = \"desk\"\npath = \"" +
                     (dir / "a").string() +
                     "\"\nsame_disk = \"allow\"\n[[destination]]\nname = \"shuttle\"\npath = \"" +
                     (dir / "b").string() + "\"\nsame_disk = \"allow\"\n");
  const auto filled =
      test::shell(program + " --quiet --shoot " + test::quoted(shoot) + " offload --no-study " + test::quoted(card));
  fmt::print("{:<22} {:>7} {:>7} {:>7}\n", "", "least", "median", "most");
  row("everytake --version", {program, "--version"});
  row("everytake find", {program, "--shoot", shoot.string(), "find"});
  row("everytake coverage", {program, "--shoot", shoot.string(), "coverage"});
  return filled.exit == 0 || filled.exit == 1 ? 0 : 1;
}

}  // namespace everytake::bench
