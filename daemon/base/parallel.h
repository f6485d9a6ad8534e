// The same work for many things, on a few threads.
#pragma once

#include <cstddef>
#include <functional>

#include "base/result.h"

namespace everytake {

// Calls `work` for each index below `count`, several at once where there are many: for work that waits for a device.
// The first error ends it, and is returned.
Result<void> for_each_index(std::size_t count, const std::function<Result<void>(std::size_t)>& work);

// Calls `work` for each index below `count` on `threads` threads of its own, or on as many as there are to be had; on
// the caller's only where there are none. Returns when all is done.
void for_each_on_threads(std::size_t threads, std::size_t count, const std::function<void(std::size_t)>& work);

}  // namespace everytake
