// Any bytes as what one of our processes says to another: taken or refused, and what is taken can be handed on.
#include <cstdlib>

#include "examiner/credible.h"
#include "examiner/examination.h"

namespace {

using namespace everytake;
using namespace everytake::examiner;

template <class T>
void read_as(std::string_view bytes) {
  const auto value = unpack<T>(bytes);
  if (!value) return;
  const auto packed = pack(*value);
  const auto again = unpack<T>(packed);
  if (!again || pack(*again) != packed) std::abort();
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const unsigned char* data, std::size_t size) {
  const std::string_view bytes(reinterpret_cast<const char*>(data), size);
  read_as<ClipFacts>(bytes);
  read_as<SoundLevels>(bytes);
  read_as<FramesSeen>(bytes);
  read_as<Error>(bytes);
  read_as<FileRange>(bytes);
  read_as<FileStat>(bytes);
  read_as<Examination>(bytes);
  read_as<Path>(bytes);
  (void)believe<ClipFacts>(bytes);
  (void)believe<SoundLevels>(bytes);
  (void)believe<Micros>(bytes);
  return 0;
}
