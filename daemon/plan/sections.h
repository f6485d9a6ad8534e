// The sections of a plan: bars laid out one after the other, times as they are. Used by this stage alone.
#pragma once

#include <optional>
#include <vector>

#include "plan/fields.h"

namespace everytake::plan {

// [want], or a section's own: what is not in it stays as in `otherwise`.
Wants read_wants(Fields& want, Wants otherwise);

// In song order. `plan` holds the song and the members already. A tempo that was `tempo_given` and is not in the plan
// is an error already told.
std::vector<Section> read_sections(const Value& document, const Plan& plan, const Wants& wants, bool tempo_given,
                                   PlanErrors& errors);

}  // namespace everytake::plan
