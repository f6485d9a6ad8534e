#include <sys/signalfd.h>
#include <unistd.h>

#include <CLI/App.hpp>
#include <CLI/Config.hpp>
#include <CLI/Formatter.hpp>
#include <csignal>
#include <cstdlib>
#include <iostream>

#include "os/heap_policy.h"
#include "os/paths.h"
#include "os/posix_fs.h"
#include "os/system_error.h"
#include "os/terminate_handler.h"
#include "service/service.h"

namespace {

using namespace everytake;

struct Options {
  pipeline::ShootNamed shoot;
  std::vector<std::string> watched;
  double settle_s = 5;
  bool once = false;
};

// Ready for poll(), and blocked for every thread made later.
Result<Descriptor> ending_signals() {
  sigset_t set;
  sigemptyset(&set);
  sigaddset(&set, SIGINT);
  sigaddset(&set, SIGTERM);
  struct sigaction hangup {};
  if (::sigaction(SIGHUP, nullptr, &hangup) == 0 && hangup.sa_handler != SIG_IGN)  // under nohup(1) it means nothing
    sigaddset(&set, SIGHUP);
  pthread_sigmask(SIG_BLOCK, &set, nullptr);
  // A reader that hangs up, or a file-size limit, is an error of that write and must not end a copy half done.
  std::signal(SIGPIPE, SIG_IGN);
  std::signal(SIGXFSZ, SIG_IGN);
  std::signal(SIGCHLD, SIG_DFL);  // however it was started: examinations are waited for
  Descriptor signals(::signalfd(-1, &set, SFD_CLOEXEC));
  if (signals.get() < 0) return tl::unexpected(system_error("can't wait for signals", errno));
  return signals;
}

pipeline::Exit complain(const std::string& what) {
  std::cerr << "everytaked: " << what << '\n';
  return pipeline::Exit::bad_input;
}

pipeline::Exit run(const Options& options) {
  const SystemClock clock;
  Log log(std::cerr, clock);
  const auto signals = ending_signals();
  if (!signals) return complain(signals.error().what);
  const auto folder = pipeline::find_shoot(options.shoot);
  if (!folder) return complain(folder.error().what);
  auto shoot = pipeline::load_shoot_for_copies(*folder);
  if (!shoot) {
    for (const auto& wrong : shoot.error()) std::cerr << wrong << '\n';
    return pipeline::Exit::bad_input;
  }
  for (const auto& wrong : shoot->wrong) log.say(wrong);
  if (!shoot->wrong.empty()) log.say(pipeline::kNotPlaced);
  for (const auto& remark : shoot->remarks) log.say(remark);
  service::ServiceOptions service;
  for (const auto& name : options.watched)
    service.watched.push_back(pipeline::absolute_folder(name, options.shoot.working_folder));
  service.once = options.once;
  service.settle = std::chrono::duration_cast<card::SteadyLength>(std::chrono::duration<double>(options.settle_s));
  const auto exit = service::run_service(std::move(*shoot), service, signals->get(), clock, log);
  if (exit) return *exit;
  complain(exit.error().what);
  return pipeline::exit_of(exit.error().code);
}

}  // namespace

int main(int argc, char** argv) {
  set_terminate_handler("everytaked");
  give_memory_back();
  Options options;
  options.shoot.working_folder = working_folder();
  if (const char* shoot = std::getenv("EVERYTAKE_SHOOT")) options.shoot.by_environment = shoot;

  CLI::App app("Offloads every camera card that is put in, and every folder that appears in a watched one.",
               "everytaked");
  app.set_version_flag("--version", "everytaked " EVERYTAKE_VERSION);
  app.add_option("--shoot", options.shoot.by_option,
                 "the shoot's folder; else $EVERYTAKE_SHOOT, else the nearest one upward")
      ->type_name("DIR");
  app.add_option("--watch", options.watched, "offload each folder that appears in this one; may be given again")
      ->type_name("DIR");
  app.add_option("--settle", options.settle_s, "for how many seconds nothing in such a folder may change")
      ->check(CLI::Range(0.1, 3600.0))
      ->type_name("SECONDS");
  app.add_flag("--once", options.once, "offload what is there now, and end");
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    return app.exit(error) == 0 ? 0 : static_cast<int>(pipeline::Exit::usage);
  }
  return static_cast<int>(run(options));
}
