#include "os/random.h"

#include <sys/random.h>

#include <array>
#include <cstdlib>

#include "base/text.h"

namespace everytake {

std::string random_id() {
  std::array<char, 16> bytes{};
  // So few bytes are given whole or not at all, and only a kernel without a generator refuses.
  if (::getrandom(bytes.data(), bytes.size(), 0) != static_cast<ssize_t>(bytes.size())) std::abort();
  return lower_hex({bytes.data(), bytes.size()});
}

bool is_id(std::string_view text) {
  return text.size() == 32 && text.find_first_not_of("0123456789abcdef") == std::string_view::npos;
}

}  // namespace everytake
