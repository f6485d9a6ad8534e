// Text that people read, kept as files beside the tests: tests/golden/<name>.
#pragma once

#include <gtest/gtest.h>

#include <cstdlib>
#include <string>

#include "support/rooms.h"
#include "support/temp_dir.h"

namespace everytake::test {

// With EVERYTAKE_WRITE_GOLDEN in the environment the file is written instead: read the difference before it is
// committed. Header-only: EVERYTAKE_SOURCE_DIR is known to the test programs.
inline void expect_golden(const std::string& name, const std::string& text) {
  const auto file = Path(EVERYTAKE_SOURCE_DIR) / "tests/golden" / name;
  if (std::getenv("EVERYTAKE_WRITE_GOLDEN")) put_file(file, text);
  EXPECT_EQ(get_file(file), text) << "tests/golden/" << name;
}

}  // namespace everytake::test
