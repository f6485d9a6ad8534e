// Memory that goes to and comes from the device without a detour: aligned, touched, and of a fixed number.
#pragma once

#include <chrono>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <span>
#include <vector>

#include "base/sync.h"

namespace everytake::offload {

inline constexpr std::size_t kBlockSize = std::size_t{4} << 20;  // large enough that the calls' cost vanishes

class BlockPool {
 public:
  explicit BlockPool(std::size_t blocks);
  ~BlockPool();

  // A block, back in the pool when its last holder lets go. Made when first needed; while all are out it waits, but no
  // longer than until `end`: then nullptr.
  using Block = std::shared_ptr<std::byte>;  // kBlockSize bytes
  Block take(std::chrono::steady_clock::time_point end);

 private:
  void give_back(std::byte* block);

  Mutex mu_;
  CondVar changed_;
  std::vector<std::byte*> free_ GUARDED_BY(mu_);
  std::size_t unmade_ GUARDED_BY(mu_);
};

// One block of one's own, no larger than was ever needed.
class OwnBlock {
 public:
  OwnBlock() = default;
  ~OwnBlock();
  OwnBlock(const OwnBlock&) = delete;
  OwnBlock& operator=(const OwnBlock&) = delete;
  // A buffer for reading a file of `size` bytes: kBlockSize bytes, or fewer for a smaller file, but always more than
  // the file has, so that one read shows its end. Its contents before are lost.
  std::span<std::byte> for_file(std::uint64_t size);

 private:
  std::byte* data_ = nullptr;
  std::size_t size_ = 0;
};

}  // namespace everytake::offload
