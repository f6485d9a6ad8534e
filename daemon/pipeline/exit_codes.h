// What the programs answer to the shell. Scripts rely on these numbers.
#pragma once

#include "base/result.h"

namespace everytake::pipeline {

struct IngestReport;
struct VerifyReport;

enum class Exit {
  done = 0,           // or: the answer is yes
  no = 1,             // the answer is no, or not all was done
  usage = 2,          // the command line could not be understood
  bad_input = 3,      // a bad plan or input, refused before any work
  differs = 4,        // a copy is not what the card held
  card_gone = 5,      // the card went away or can't be read
  no_space = 6,       // or a destination is lost
  interrupted = 130,  // by SIGINT, with everything resumable
  terminated = 143,   // by SIGTERM or a closed terminal, with everything resumable
};

// For an error that ended the work.
Exit exit_of(Code code);
// The gravest of what happened on a visit: a signal is the caller's to put first.
Exit exit_of(const IngestReport& report);
// The same of copies that were read back; what was repaired does not count.
Exit exit_of(const VerifyReport& report);
// For the signal that ended it.
Exit exit_by(int signal);
// The graver of two: bytes that differ before all.
Exit worse(Exit a, Exit b);

}  // namespace everytake::pipeline
