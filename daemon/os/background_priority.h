// Work that copying goes before.
#pragma once

namespace everytake {

// Lowers the scheduling and the disk priority of this thread and of those it makes from now on. Where the system
// refuses, the work is merely less polite.
void enter_background_priority();

}  // namespace everytake
