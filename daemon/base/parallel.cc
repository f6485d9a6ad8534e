#include "base/parallel.h"

#include <algorithm>
#include <atomic>
#include <optional>
#include <system_error>
#include <thread>
#include <vector>

#include "base/sync.h"

namespace everytake {
namespace {

constexpr std::size_t kMostThreads = 4;
constexpr std::size_t kWorthAThread = 64;  // things

// Returns those that could be started.
std::vector<std::jthread> started(std::size_t threads, const std::function<void()>& run) {
  std::vector<std::jthread> running;
  try {
    while (running.size() < threads) running.emplace_back(run);
  } catch (const std::system_error&) {  // no more threads to be had: those there are do it
  }
  return running;
}

}  // namespace

Result<void> for_each_index(std::size_t count, const std::function<Result<void>(std::size_t)>& work) {
  std::atomic<std::size_t> next{0};
  std::optional<Error> first;
  Mutex mu;
  const auto run = [&] {
    for (auto i = next++; i < count; i = next++)
      if (auto done = work(i); !done) {
        next = count;
        MutexLock lock(mu);
        if (!first) first = std::move(done.error());
      }
  };
  {
    const auto in_all = std::clamp<std::size_t>(count / kWorthAThread, 1, kMostThreads);
    const auto others = started(in_all - 1, run);
    run();
  }
  if (first) return tl::unexpected(std::move(*first));
  return {};
}

void for_each_on_threads(std::size_t threads, std::size_t count, const std::function<void(std::size_t)>& work) {
  std::atomic<std::size_t> next{0};
  const auto run = [&] {
    for (auto i = next++; i < count; i = next++) work(i);
  };
  const auto running = started(std::min(threads, count), run);
  if (running.empty()) run();
}

}  // namespace everytake
