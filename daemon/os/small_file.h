// Small files read in one go.
#pragma once

#include <cstdint>
#include <string>

#include "base/result.h"
#include "os/fs.h"

namespace everytake {

// The first `most` bytes of a file, or all where there are fewer. Fails as ReadFs::open() does.
Result<std::string> read_beginning(const ReadFs& fs, const Path& path, std::uint64_t most);

// All of a file. Fails as ReadFs::open() does, and with `invalid` where it has more than `most` bytes.
Result<std::string> read_whole(const ReadFs& fs, const Path& path, std::uint64_t most);

// Of a file of the system's, as below /proc and /sys, without its end of line; empty where it can't be read.
std::string first_line(const Path& file);

}  // namespace everytake
