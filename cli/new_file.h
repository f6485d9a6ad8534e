// Files a person asks for. What is there is never replaced.
#pragma once

#include <string>

#include "os/fs.h"

namespace everytake::cli {

// `exists` where `file` (absolute) is there.
Result<void> check_new(const Path& file);
// Makes `name` of `bytes`, durable. Leaves nothing of its own where that fails, and what was there untouched.
Result<void> write_new(Fs& folder, const Path& name, const std::string& bytes);
Result<void> write_new(const Path& file, const std::string& bytes);  // an absolute one

}  // namespace everytake::cli
