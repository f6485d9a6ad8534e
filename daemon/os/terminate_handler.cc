#include "os/terminate_handler.h"

#include <unistd.h>

#include <cstring>
#include <exception>
#include <new>

namespace everytake {
namespace {

const char* name = "";

void say(const char* text) {
  if (::write(STDERR_FILENO, text, std::strlen(text)) < 0) return;  // nobody is left to be told
}

// Nothing here may allocate.
[[noreturn]] void end() {
  say(name);
  try {
    if (std::current_exception()) throw;
    say(": it can't go on");
  } catch (const std::bad_alloc&) {
    say(": there is no memory left");
  } catch (const std::exception& error) {
    say(": ");
    say(error.what());
  } catch (...) {
    say(": it can't go on");
  }
  say("; it ends here. What is verified stays so: run it again to go on\n");
  ::_exit(1);
}

}  // namespace

void set_terminate_handler(const char* program) {
  name = program;
  std::set_terminate(end);
}

}  // namespace everytake
