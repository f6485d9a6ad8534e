// Questions about whole paths, before a folder is opened. Nothing here throws, and nothing waits for a person.
#pragma once

#include "base/result.h"
#include "os/fs.h"

namespace everytake {

bool exists(const Path& path);     // false also for what can't be looked at
bool is_absent(const Path& path);  // false also for what can't be looked at

// With links followed and without "." and "..". `not_found` where it is not there.
Result<Path> real_path(const Path& path);
// The same as far as the path goes; as it is written where it can't be looked at, as below the mount point of a server
// that died.
Path resolved(const Path& path);
// `name` from `folder` on, without "." and "..".
Path absolute(const Path& name, const Path& folder);

Path working_folder();     // empty where there is none any more; then only absolute paths work
Path folder_of_program();  // where the running program's file lies; empty where that can't be seen

// Makes the folder and those above it. Whether it was not there before.
Result<bool> make_folders(const Path& folder);
// Removes the folder where nothing is in it.
void remove_if_empty(const Path& folder);

}  // namespace everytake
