#include "cli/stop.h"

#include <pthread.h>
#include <unistd.h>

#include <csignal>

namespace everytake::cli {
namespace {

// Under nohup(1) a closed terminal is to mean nothing.
bool minds_hangup() {
  struct sigaction now {};
  return ::sigaction(SIGHUP, nullptr, &now) != 0 || now.sa_handler != SIG_IGN;
}

sigset_t ending_signals() {
  sigset_t set;
  sigemptyset(&set);
  sigaddset(&set, SIGINT);
  sigaddset(&set, SIGTERM);
  if (minds_hangup()) sigaddset(&set, SIGHUP);
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
    if (signal_ != 0 && signal == SIGHUP) continue;  // a closed terminal says it more than once
    if (signal_ != 0) ::_exit(static_cast<int>(pipeline::exit_by(signal)));
    signal_ = signal;
    stop_.request_stop();
  }
}

std::optional<pipeline::Exit> StopOnSignal::exit() const {
  return signal_ == 0 ? std::nullopt : std::optional(pipeline::exit_by(signal_));
}

}  // namespace everytake::cli
