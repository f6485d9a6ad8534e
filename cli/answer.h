// How a command speaks: errors and remarks on `err`, JSON on `out`.
#pragma once

#include "base/json.h"
#include "cli/commands.h"
#include "model.h"

namespace everytake::cli {

// One line about what ended the command, and the exit code that belongs to it.
pipeline::Exit report(const Error& error, Session& session);

// One line about what the person should know while the command goes on; silent under --quiet.
void remark(std::string_view what, Session& session);

// The first dozen, a line each, and how many more there are. Empty where there are none.
std::string problems_text(const std::vector<Problem>& problems, const Screen& screen);
// As in `offload --json`: code, path, destination (null where it is not about one), message.
Json problems_json(const std::vector<Problem>& problems);

// Prints `answer` as the one JSON object of this call, with "schema" before everything else.
void print_json(const Json& answer, Session& session);

}  // namespace everytake::cli
