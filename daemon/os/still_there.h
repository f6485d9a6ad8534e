// Whether an open folder is still the one that its path leads to, and lives.
#pragma once

#include "os/fs.h"

namespace everytake {

// `folder` was opened at `path` (absolute). `gone`, with the reason, when
//  - the path leads elsewhere or nowhere: renamed, unmounted (also lazily), another disk mounted over it;
//  - it can't be looked at: its server died, or its filesystem is shut down (xfs; ext4 since Linux 6.14 tells it in its
//    options, and before only fails to open files);
//  - a device beneath is gone, has lost its medium, or is an image that was cut off or deleted;
//  - its filesystem was turned read-only by an error. One that was mounted read-only is well.
// Measured (Linux 6.18): a device that answers with errors alone (an image cut off behind a path that can't be seen, a
// flaky cable) is not found here, but by reading a block of any file opened with Cache::avoid; so is ext4 and xfs shut
// down. Neither finds what only one block of many shows.
Result<void> folder_still_there(int folder, const Path& path);

}  // namespace everytake
