// What a visit of a card came to: in words and as JSON.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "base/json.h"
#include "cli/terminal.h"
#include "pipeline/pipeline.h"

namespace everytake::cli {

std::string offload_text(const pipeline::IngestReport& report, const std::optional<offload::Verdict>& verdict,
                         const std::vector<Clip>& clips, const Screen& screen);
std::string dry_run_text(const pipeline::IngestReport& report, const Screen& screen);

// As `offload --json`.
Json offload_json(const pipeline::IngestReport& report, const std::optional<offload::Verdict>& verdict,
                  const std::vector<Clip>& clips, const Plan& plan, Micros elapsed);

}  // namespace everytake::cli
