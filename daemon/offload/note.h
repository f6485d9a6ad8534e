// A small file of our own beside the copies.
#pragma once

#include <string_view>

#include "os/fs.h"

namespace everytake::offload {

// Writes it. Replaces that of before once it was read back (`corrupt` where it
// differs: the old one stays), and durably: after a power cut the old or the new one is there, whole.
Result<void> write_note(Fs& fs, const Path& path, std::string_view bytes);

}  // namespace everytake::offload
