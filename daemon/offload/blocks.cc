#include "offload/blocks.h"

#include <algorithm>
#include <bit>
#include <cstdlib>
#include <new>
#include <utility>

#include "os/fs.h"

namespace everytake::offload {
namespace {

std::byte* new_block(std::size_t size) {
  auto* data = static_cast<std::byte*>(std::aligned_alloc(kBlockAlign, size));
  if (!data) throw std::bad_alloc();
  // Each page is touched once: btrfs answers a direct read into fresh anonymous memory from its cache (measured).
  for (std::size_t at = 0; at < size; at += kBlockAlign) data[at] = std::byte{};
  return data;
}

}  // namespace

BlockPool::BlockPool(std::size_t blocks) : unmade_(blocks) {
  free_.reserve(blocks);  // so that giving back needs no memory
}

BlockPool::~BlockPool() {
  for (auto* block : free_) std::free(block);
}

BlockPool::Block BlockPool::take(std::chrono::steady_clock::time_point end) {
  std::byte* block = nullptr;
  {
    MutexLock lock(mu_);
    while (free_.empty() && unmade_ == 0 && std::chrono::steady_clock::now() < end) changed_.wait_until(mu_, end);
    if (free_.empty() && unmade_ == 0) return nullptr;
    if (free_.empty()) {
      free_.push_back(new_block(kBlockSize));
      --unmade_;
    }
    block = free_.back();
    free_.pop_back();
  }
  // Out of the lock: without memory for its count of holders the block is given back here and now.
  return Block(block, [this](std::byte* b) { give_back(b); });
}

void BlockPool::give_back(std::byte* block) {
  MutexLock lock(mu_);
  free_.push_back(block);
  changed_.notify_all();
}

OwnBlock::~OwnBlock() {
  std::free(data_);
}

std::span<std::byte> OwnBlock::for_file(std::uint64_t size) {
  constexpr std::size_t kLeast = 16 * kBlockAlign;
  const auto wanted = std::min<std::uint64_t>(kBlockSize, std::bit_ceil(std::max<std::uint64_t>(kLeast, size + 1)));
  if (size_ < wanted) {
    std::free(std::exchange(data_, nullptr));
    size_ = 0;
    data_ = new_block(wanted);
    size_ = wanted;
  }
  return {data_, size_};
}

}  // namespace everytake::offload
