// Memory that goes to and comes from the device without a detour: aligned, touched, and of a fixed number.
#pragma once

#include <cstddef>
#include <memory>
#include <span>
#include <vector>

#include "base/sync.h"

namespace everytake {

inline constexpr std::size_t kBlockSize = std::size_t{4} << 20;  // large enough that the calls' cost vanishes

class BlockPool {
 public:
  explicit BlockPool(std::size_t blocks);
  ~BlockPool();

  // A block, back in the pool when its last holder lets go. Made when first needed; waits while all are out.
  using Block = std::shared_ptr<std::byte>;  // kBlockSize bytes
  Block take();

 private:
  void give_back(std::byte* block);

  Mutex mu_;
  CondVar changed_;
  std::vector<std::byte*> free_ GUARDED_BY(mu_);
  std::size_t unmade_ GUARDED_BY(mu_);
};

// One block of one's own.
class OwnBlock {
 public:
  OwnBlock();
  ~OwnBlock();
  OwnBlock(const OwnBlock&) = delete;
  OwnBlock& operator=(const OwnBlock&) = delete;
  std::span<std::byte> bytes() const { return {data_, kBlockSize}; }

 private:
  std::byte* const data_;
};

}  // namespace everytake
