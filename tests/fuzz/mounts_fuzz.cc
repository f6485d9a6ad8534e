// Any bytes as the kernel's table of mounts: a label is somebody's to choose, and stands in it.
#include <cstdlib>

#include "os/mounts.h"

extern "C" int LLVMFuzzerTestOneInput(const unsigned char* data, std::size_t size) {
  using namespace everytake;
  const auto mounts = parse_mounts({reinterpret_cast<const char*>(data), size});
  for (const auto& mount : mounts)
    if (mount.point.empty() || mount.type.empty()) std::abort();
  for (const auto& mount : mounts)
    for (const auto& value : values_of(mount.super_options, "upperdir"))
      if (!has_option(mount.super_options, "upperdir=" + value)) std::abort();
  (void)mount_of(mounts, "/media/card");
  return 0;
}
