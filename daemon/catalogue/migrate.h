// Brings a catalogue file to today's schema, a step at a time.
#pragma once

#include <span>

#include "catalogue/db.h"

namespace everytake::catalogue {

// One file of schema/, as it is built into the program.
struct SchemaStep {
  const char* name;
  const char* sql;
};
std::span<const SchemaStep> schema_steps();

// Takes the steps that `db` lacks, each in a transaction of its own; one that fails leaves the catalogue at the step
// before. Refuses with `unsupported`, and changes nothing, where a newer program or another one made the file.
Result<void> migrate(Db& db, std::span<const SchemaStep> steps = schema_steps());

}  // namespace everytake::catalogue
