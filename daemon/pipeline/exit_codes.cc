#include "pipeline/exit_codes.h"

#include <algorithm>
#include <csignal>

#include "pipeline/pipeline.h"

namespace everytake::pipeline {
namespace {

// A destination that gets no copies for as long as a person does nothing about it.
constexpr ProblemCode kLost[] = {
    ProblemCode::no_room,          ProblemCode::too_large,  ProblemCode::read_only,     ProblemCode::destination_absent,
    ProblemCode::destination_lost, ProblemCode::other_disk, ProblemCode::foreign_shoot, ProblemCode::cloned_mark,
    ProblemCode::bad_mark};

bool has(const std::vector<Problem>& problems, ProblemCode code) {
  return std::ranges::find(problems, code, &Problem::code) != problems.end();
}

bool has_lost(const std::vector<Problem>& problems) {
  return std::ranges::any_of(kLost, [&](ProblemCode code) { return has(problems, code); });
}

}  // namespace

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

Exit exit_of(const IngestReport& report) {
  if (has(report.problems, ProblemCode::bytes_differ)) return Exit::differs;
  if (report.ended) return exit_of(report.ended->code);
  if (has(report.problems, ProblemCode::unreadable)) return Exit::card_gone;
  if (has_lost(report.problems)) return Exit::no_space;
  const bool all = std::ranges::all_of(
      report.destinations, [](const auto& each) { return each.state == IngestReport::Destination::State::verified; });
  return all && report.problems.empty() ? Exit::done : Exit::no;
}

Exit exit_of(const VerifyReport& report) {
  if (report.ended) return exit_of(report.ended->code);
  if (has(report.problems, ProblemCode::bytes_differ)) return Exit::differs;
  if (has_lost(report.problems)) return Exit::no_space;
  const bool all = std::ranges::all_of(report.destinations, [](const auto& each) { return each.is_whole(); });
  return all && report.problems.empty() ? Exit::done : Exit::no;
}

Exit exit_by(int signal) {
  return signal == SIGINT ? Exit::interrupted : Exit::terminated;
}

Exit worse(Exit a, Exit b) {
  static constexpr Exit kByGravity[] = {Exit::differs, Exit::card_gone, Exit::no_space,    Exit::bad_input,
                                        Exit::usage,   Exit::no,        Exit::interrupted, Exit::terminated};
  for (const auto exit : kByGravity)
    if (a == exit || b == exit) return exit;
  return Exit::done;
}

}  // namespace everytake::pipeline
