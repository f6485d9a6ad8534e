// What a program says when nothing else can be done.
#pragma once

namespace everytake {

// Where an exception reaches nobody, in whichever thread (in practice: memory ran out), the program says one sentence
// and ends at once with exit code 1, as if it had been killed there: all that is verified stays so, and the next run
// goes on. Call it first in main(); `program` must last as long as the program.
void set_terminate_handler(const char* program);

}  // namespace everytake
