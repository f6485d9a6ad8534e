#include "cli/stop.h"

#include <pthread.h>
#include <unistd.h>

#include <csignal>

namespace everytake::cli {
namespace {

sigset_t ending_signals() {
  sigset_t set;
  sigemptyset(&set);
  sigaddset(&set, SIGINT);
  sigaddset(&set, SIGTERM);
  return set;
}

}  // namespace

StopOnSignal::StopOnSignal() {
  const auto set = ending_signals();
  pthread_sigmask(SIG_BLOCK, &set, nullptr);
  waiter_ = std::jthread([this] { wait(); });
}

StopOnSignal::~StopOnSignal() {
  leaving_ = true;
  pthread_kill(waiter_.native_handle(), SIGTERM);
  waiter_.join();
  const auto set = ending_signals();
  pthread_sigmask(SIG_UNBLOCK, &set, nullptr);
}

void StopOnSignal::wait() {
  const auto set = ending_signals();
  for (int signal = 0; sigwait(&set, &signal) == 0;) {
    if (leaving_) return;
    if (signal_ != 0) ::_exit(128 + signal);
    signal_ = signal;
    stop_.request_stop();
  }
}

std::optional<Exit> StopOnSignal::exit() const {
  if (signal_ == SIGINT) return Exit::interrupted;
  if (signal_ == SIGTERM) return Exit::terminated;
  return std::nullopt;
}

}  // namespace everytake::cli
