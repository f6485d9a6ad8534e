// What happens to memory that was given up: to be chosen once, before any thread runs.
#pragma once

namespace everytake {

// Large pieces go back as soon as they are freed, and do not stay behind as gaps: a card of 100 000 files needs some
// for each step.
void give_memory_back();

// It stays with the process, for one that soon ends and takes and gives up tens of megabytes for each picture: else
// these come from the kernel anew each time, page by page.
void keep_memory();

}  // namespace everytake
