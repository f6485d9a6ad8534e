// Text that people read, kept as files beside the tests: tests/golden/<name>.
#pragma once

#include <gtest/gtest.h>

#include <string>

#include "support/temp_dir.h"

namespace everytake::test {

// Header-only: EVERYTAKE_SOURCE_DIR is known to the test programs.
inline void expect_golden(const std::string& name, const std::string& text) {
  EXPECT_EQ(get_file(Path(EVERYTAKE_SOURCE_DIR) / "tests/golden" / name), text) << "tests/golden/" << name;
}

}  // namespace everytake::test
