#include "cli/exit_codes.h"

namespace everytake::cli {

Exit exit_of(Code code) {
  switch (code) {
    case Code::not_found:
    case Code::exists:
    case Code::denied:
    case Code::unsupported:
    case Code::invalid:
      return Exit::bad_input;
    case Code::busy:
      return Exit::no;
    case Code::corrupt:
      return Exit::differs;
    case Code::gone:
    case Code::io:
      return Exit::card_gone;
    case Code::no_space:
      return Exit::no_space;
    case Code::cancelled:
      return Exit::interrupted;
  }
  return Exit::no;
}

}  // namespace everytake::cli
