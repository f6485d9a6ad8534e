// Memory that was given up goes back to the system.
#pragma once

namespace everytake {

// Large pieces go back as soon as they are freed, and do not stay behind as gaps: a card of 100 000 files needs some
// for each step. For main(), before any thread.
void give_memory_back();

}  // namespace everytake
