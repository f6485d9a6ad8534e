// From whatever step a catalogue stands at to today's schema.
#pragma once

#include "catalogue/db.h"

namespace everytake {

// How many steps there are: what PRAGMA user_version of a catalogue of today holds.
int schema_version();

// Takes the steps that are missing, each in one transaction. `unsupported` when the catalogue is newer than the
// program; `corrupt` when its pages do not hold together.
Result<void> migrate(Db& db);

}  // namespace everytake
