// From what was said of the set to what is said of its clips.
#pragma once

#include "catalogue/catalogue.h"

namespace everytake::pipeline {

// Gives every clip the marks of the setup that it was recorded under, `by setup`, in place of those it had. To be
// called after setups, clocks or clips changed.
Result<void> apply_setups(catalogue::Catalogue& catalogue);

}  // namespace everytake::pipeline
