#include "cli/answer.h"

namespace everytake::cli {

Exit report(const Error& error, Session& session) {
  session.err << painted("everytake: " + error.what, Tone::bad, session.err_screen) << '\n';
  return exit_of(error.code);
}

void remark(std::string_view what, Session& session) {
  if (!session.quiet) session.err << painted(what, Tone::warning, session.err_screen) << '\n';
}

void print_json(const Json& answer, Session& session) {
  Json whole{{"schema", 1}};
  whole.update(answer);
  session.out << dump(whole) << '\n';
}

}  // namespace everytake::cli
