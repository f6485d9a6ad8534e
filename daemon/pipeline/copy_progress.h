// How far the copying is, as one line.
#pragma once

#include <chrono>
#include <string>
#include <vector>

#include "base/clock.h"
#include "pipeline/pipeline.h"

namespace everytake::pipeline {

struct CopyGlance {
  struct Target {
    std::string name;
    std::uint64_t verified = 0, total = 0;  // bytes; 0 in all where it gets nothing
    Micros silent{};                        // how long its disk has taken nothing
  };
  std::string roll;
  std::uint64_t read = 0, to_read = 0;  // bytes of the card
  std::vector<Target> targets;
  Micros elapsed{};
};

// Before the first byte, and how it goes on after `elapsed`. The names of the targets are made fit to be shown.
CopyGlance glance_at(const IngestWatcher::Start& start);
void look_again(CopyGlance& glance, const offload::CopyProgress& progress, Micros elapsed);

// "R001: 12.3 GB of 64.0 GB read, 412 MB/s, 2 min 05 s left; verified: desk 18 %, shuttle 17 %"
// A disk that gets nothing is left out: it has all of it, or was refused, which the report says.
// The time left is that of the slowest destination; unknown until something is verified. A disk that has not answered
// for ten seconds is named: "; desk has not answered for 42 s".
std::string progress_text(const CopyGlance& glance);

}  // namespace everytake::pipeline
