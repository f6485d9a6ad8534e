// Any bytes as a list of digests, or of names: what is taken from it never leads out of the roll, and comes back as it
// was.
#include <cstdlib>

#include "offload/manifest.h"
#include "offload/names.h"

namespace {

using namespace everytake;
using namespace everytake::offload;

void must_stay_inside(const Path& path) {
  if (path.empty() || path.is_absolute()) std::abort();
  for (const auto& part : path)
    if (part == "..") std::abort();
}

void names(std::string_view text) {
  const auto read = parse_names_note(text);
  if (!read) return;
  for (const auto& name : *read) {
    must_stay_inside(name.stored);
    must_stay_inside(name.on_card);
  }
  const auto again = parse_names_note(names_note(*read));
  if (!again || again->size() != read->size()) std::abort();
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const unsigned char* data, std::size_t size) {
  const std::string_view text(reinterpret_cast<const char*>(data), size);
  names(text);
  const auto lines = parse_xxh128_manifest(text);
  if (!lines) return 0;
  for (const auto& line : *lines) must_stay_inside(line.path);
  const auto again = parse_xxh128_manifest(xxh128_manifest(*lines));
  if (!again || again->size() > lines->size()) std::abort();
  return 0;
}
