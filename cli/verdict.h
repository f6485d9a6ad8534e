// The verdict in words and as JSON.
#pragma once

#include <string>

#include "base/json.h"
#include "cli/terminal.h"
#include "offload/verdict.h"

namespace everytake::cli {

// "safe to wipe: …" with what it rests on, or "do not wipe this card" with the reasons. `card` is its folder, for the
// command that comes next. Ends with a line feed.
std::string verdict_text(const offload::Verdict& verdict, const Path& card, const Screen& screen);

Json verdict_json(const offload::Verdict& verdict);  // as `safe --json`

}  // namespace everytake::cli
