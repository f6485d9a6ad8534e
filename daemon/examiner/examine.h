// The inside of an examination. Only the program that is started for it links this, and FFmpeg's libraries with it.
#pragma once

#include "os/channel.h"

namespace everytake::examiner {

// Reads the one recording that is asked for through `socket`, within the limits that come with it, and says what was
// found. Returns the process's exit code.
int run_examination(Descriptor socket);

}  // namespace everytake::examiner
