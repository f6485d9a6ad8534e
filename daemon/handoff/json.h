// What is known, as JSON for other programs. The keys are a contract: added to, never renamed. Unknown is null.
#pragma once

#include "base/json.h"
#include "model.h"

namespace everytake {

Json clip_json(const Clip& clip);

}  // namespace everytake
