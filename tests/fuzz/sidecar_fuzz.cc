// Any bytes as a camera's notes, of both kinds.
#include "media/metadata/sidecar.h"

extern "C" int LLVMFuzzerTestOneInput(const unsigned char* data, std::size_t size) {
  using namespace everytake;
  using namespace everytake::media;
  const std::string_view text(reinterpret_cast<const char*>(data), size);
  (void)parse_sidecar(text);
  (void)parse_clip_metadata(text);
  return 0;
}
