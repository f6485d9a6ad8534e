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
    std::vector<std::jthread> others;
    try {
      for (std::size_t i = 1; i < std::min(kMostThreads, count / kWorthAThread); ++i) others.emplace_back(run);
    } catch (const std::system_error&) {  // no more threads to be had: those there are do it
    }
    run();
  }
  if (first) return tl::unexpected(std::move(*first));
  return {};
}

}  // namespace everytake
