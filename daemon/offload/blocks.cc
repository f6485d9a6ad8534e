#include "offload/blocks.h"

#include <cstdlib>
#include <cstring>
#include <new>

#include "base/fs.h"

namespace everytake {
namespace {

std::byte* new_block() {
  auto* data = static_cast<std::byte*>(std::aligned_alloc(kBlockAlign, kBlockSize));
  if (!data) throw std::bad_alloc();
  // Touched once: btrfs answers a direct read into fresh anonymous memory from its cache (measured).
  std::memset(data, 0, kBlockSize);
  return data;
}

}  // namespace

BlockPool::BlockPool(std::size_t blocks) : unmade_(blocks) {}

BlockPool::~BlockPool() {
  for (auto* block : free_) std::free(block);
}

BlockPool::Block BlockPool::take() {
  MutexLock lock(mu_);
  while (free_.empty() && unmade_ == 0) changed_.wait(mu_);
  if (free_.empty()) {
    free_.push_back(new_block());
    --unmade_;
  }
  auto* block = free_.back();
  free_.pop_back();
  return Block(block, [this](std::byte* b) { give_back(b); });
}

void BlockPool::give_back(std::byte* block) {
  MutexLock lock(mu_);
  free_.push_back(block);
  changed_.notify_all();
}

OwnBlock::OwnBlock() : data_(new_block()) {}
OwnBlock::~OwnBlock() {
  std::free(data_);
}

}  // namespace everytake
