#include "cli/answer.h"

#include <fmt/format.h>

#include <algorithm>

namespace everytake::cli {

pipeline::Exit report(const Error& error, Session& session) {
  session.err << painted("everytake: " + error.what, Tone::bad, session.err_screen) << '\n';
  return pipeline::exit_of(error.code);
}

void remark(std::string_view what, Session& session) {
  if (!session.quiet) session.err << painted(what, Tone::warning, session.err_screen) << '\n';
}

std::string problems_text(const std::vector<Problem>& problems, const Screen& screen) {
  constexpr std::size_t kShown = 12;
  std::string text;
  for (std::size_t i = 0; i < std::min(kShown, problems.size()); ++i)
    text += painted("  ! " + problems[i].message, Tone::warning, screen) + "\n";
  if (problems.size() > kShown) text += fmt::format("  … and {} more\n", problems.size() - kShown);
  return text;
}

Json problems_json(const std::vector<Problem>& problems) {
  Json list = Json::array();
  for (const auto& problem : problems) {
    Json each{{"code", to_string(problem.code)}};
    put_name(each, "path", problem.path);
    each["destination"] = problem.destination.empty() ? Json(nullptr) : Json(problem.destination);
    each["message"] = problem.message;
    list.push_back(std::move(each));
  }
  return list;
}

void print_json(const Json& answer, Session& session) {
  Json whole{{"schema", 1}};
  whole.update(answer);
  session.out << dump(whole) << '\n';
}

}  // namespace everytake::cli
