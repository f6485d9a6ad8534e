#include <unistd.h>

#include <csignal>
#include <cstdlib>
#include <iostream>

#include "cli/commands.h"
#include "os/heap_policy.h"
#include "os/paths.h"
#include "os/terminate_handler.h"

int main(int argc, char** argv) {
  using namespace everytake;
  set_terminate_handler("everytake");
  give_memory_back();
  // A reader that hangs up, or a file-size limit, is an error of that write and must not end a copy half done.
  std::signal(SIGPIPE, SIG_IGN);
  std::signal(SIGXFSZ, SIG_IGN);
  std::signal(SIGCHLD, SIG_DFL);  // however it was started: examinations are waited for

  const char* shoot = std::getenv("EVERYTAKE_SHOOT");
  cli::Session session{
      .out = std::cout,
      .err = std::cerr,
      .out_screen = cli::screen_of(STDOUT_FILENO),
      .err_screen = cli::screen_of(STDERR_FILENO),
      .folder = everytake::working_folder(),
      .shoot_from_environment = shoot ? std::optional<std::string>(shoot) : std::nullopt,
      .shoot = std::nullopt,
  };
  if (::isatty(STDIN_FILENO) && ::isatty(STDERR_FILENO))
    session.confirm = [](const std::string& question) {
      std::cerr << question << " [y/N] " << std::flush;
      std::string answer;
      return std::getline(std::cin, answer) && (answer == "y" || answer == "Y" || answer == "yes");
    };
  const auto exit = cli::run({argv + 1, argv + argc}, session);
  if (std::cout.flush()) return static_cast<int>(exit);
  if (errno != EPIPE) std::cerr << "everytake: the answer could not be written in full\n";
  return static_cast<int>(exit == pipeline::Exit::done ? pipeline::Exit::no : exit);
}
