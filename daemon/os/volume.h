// What lies beneath a folder: its filesystem and the disk that holds it.
#pragma once

#include "os/fs.h"

namespace everytake {

// Of the filesystem that the open folder `folder` is on. What the system does not tell stays empty.
Result<Volume> volume_of(int folder);

// Whether it tells how much room there is. Some drivers, in user space or of a network, have no answer.
bool tells_room(const Volume& volume);

// Whether a filesystem of this name gives a file one number and the same times for good: FAT and its kin, drivers in
// user space and some servers make them up at each mount.
bool keeps_file_numbers(const std::string& filesystem);

}  // namespace everytake
