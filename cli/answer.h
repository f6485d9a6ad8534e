// How a command speaks: errors and remarks on `err`, JSON on `out`.
#pragma once

#include "base/json.h"
#include "cli/commands.h"

namespace everytake::cli {

// One line about what ended the command, and the exit code that belongs to it.
Exit report(const Error& error, Session& session);

// One line about what the person should know while the command goes on; silent under --quiet.
void remark(std::string_view what, Session& session);

// Prints `answer` as the one JSON object of this call, with "schema" before everything else.
void print_json(const Json& answer, Session& session);

}  // namespace everytake::cli
