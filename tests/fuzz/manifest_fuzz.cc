// Any bytes as a list of digests: what is taken from it never leads out of the roll, and comes back as it was.
#include <cstdlib>

#include "offload/manifest.h"

extern "C" int LLVMFuzzerTestOneInput(const unsigned char* data, std::size_t size) {
  using namespace everytake;
  const auto lines = parse_xxh128_manifest({reinterpret_cast<const char*>(data), size});
  if (!lines) return 0;
  for (const auto& line : *lines) {
    if (line.path.empty() || line.path.is_absolute()) std::abort();
    for (const auto& part : line.path)
      if (part == "..") std::abort();
  }
  const auto again = parse_xxh128_manifest(xxh128_manifest(*lines));
  if (!again || again->size() > lines->size()) std::abort();
  return 0;
}
