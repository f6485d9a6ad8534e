// Any bytes as a plan: errors with a place in the text, or a plan; never a crash.
#include <cstdlib>

#include "plan/plan.h"

extern "C" int LLVMFuzzerTestOneInput(const unsigned char* data, std::size_t size) {
  using namespace everytake;
  using namespace everytake::plan;
  const std::string_view text(reinterpret_cast<const char*>(data), size);
  const auto plan = parse_plan(text, [](const Path&) -> Result<Micros> { return fail(Code::not_found, "no song"); });
  if (plan) return 0;
  if (plan.error().empty()) std::abort();
  for (const auto& error : plan.error())
    if (error.message.empty() || error.position.line < 1 || error.position.column < 1) std::abort();
  return 0;
}
