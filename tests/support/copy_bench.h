// A small card, some destinations and an observer that remembers: what tests of the copying need.
#pragma once

#include <map>
#include <string>
#include <utility>
#include <vector>

#include "offload/copy.h"
#include "support/mem_fs.h"
#include "support/rooms.h"

namespace everytake::test {

// Remembers what it is told, as the catalogue would.
class Recorder final : public CopyObserver {
 public:
  Result<void> record(std::span<const SourceReading> read, std::span<const StoredCopy> copies) override {
    if (refuse_) return fail(Code::io, "can't be recorded");
    readings.insert(readings.end(), read.begin(), read.end());
    for (const auto& copy : copies) stored.insert_or_assign({copy.file.value, copy.target}, copy.proof);
    return {};
  }
  void tick(const CopyProgress&) override {}
  void refuse() { refuse_ = true; }

  bool verified(std::int64_t file, std::size_t target) const {
    const auto it = stored.find({file, target});
    return it != stored.end() && it->second.has_value();
  }

  std::vector<SourceReading> readings;
  std::map<std::pair<std::int64_t, std::size_t>, Result<StoredCopy::Proof>> stored;

 private:
  bool refuse_ = false;
};

}  // namespace everytake::test
