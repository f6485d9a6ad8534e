#include "pipeline/exit_codes.h"

#include <algorithm>
#include <csignal>
#include <initializer_list>

#include "pipeline/pipeline.h"

namespace everytake::pipeline {
namespace {

using Codes = std::initializer_list<const char*>;

// A destination that gets no copies for as long as a person does nothing about it.
constexpr const char* kLost[] = {"no_room",          "too_large",  "read_only",     "destination_absent",
                                 "destination_lost", "other_disk", "foreign_shoot", "cloned_mark",
                                 "bad_mark"};

bool has(const std::vector<Problem>& problems, const auto& codes) {
  return std::ranges::any_of(problems, [&](const Problem& problem) {
    return std::ranges::any_of(codes, [&](const char* code) { return problem.code == code; });
  });
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
  if (has(report.problems, Codes{"bytes_differ"})) return Exit::differs;
  if (report.ended) return exit_of(report.ended->code);
  if (has(report.problems, Codes{"unreadable"})) return Exit::card_gone;
  if (has(report.problems, kLost)) return Exit::no_space;
  const bool all = std::ranges::all_of(
      report.destinations, [](const auto& each) { return each.state == IngestReport::Destination::State::verified; });
  return all && report.problems.empty() ? Exit::done : Exit::no;
}

Exit exit_of(const VerifyReport& report) {
  if (report.ended) return exit_of(report.ended->code);
  if (has(report.problems, Codes{"bytes_differ"})) return Exit::differs;
  if (has(report.problems, kLost)) return Exit::no_space;
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
