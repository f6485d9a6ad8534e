#include "catalogue/migrate.h"

#include <fmt/format.h>

namespace everytake::catalogue {
namespace {

constexpr SchemaStep kSteps[] = {
#include "migrations.inc"
};

constexpr std::int64_t kApplicationId = 0x45565459;  // "EVTY", in the file's header: this file is a catalogue

// To be asked within a transaction: another process may be taking the steps.
Result<std::int64_t> version_of(Db& db, std::int64_t newest) {
  const auto version = TRY(db.one<std::int64_t>("PRAGMA user_version")).value_or(0);
  const auto application = TRY(db.one<std::int64_t>("PRAGMA application_id")).value_or(0);
  const auto tables = TRY(db.one<std::int64_t>("SELECT count(*) FROM sqlite_schema")).value_or(0);
  const bool fresh = version == 0 && application == 0 && tables == 0;
  if (!fresh && application != kApplicationId)
    return fail(Code::unsupported, "this database is not a catalogue of everytake: name another file");
  if (version > newest)
    return fail(Code::unsupported, fmt::format("a newer everytake made this catalogue (schema {}, this one knows {}): "
                                               "use that version; nothing was changed",
                                               version, newest));
  return version;
}

Result<void> take_step(Db& db, const SchemaStep& step, std::int64_t number) {
  if (auto done = db.script(step.sql); !done)
    return tl::unexpected(within(fmt::format("schema step {}", step.name), std::move(done.error())));
  return db.script(fmt::format("PRAGMA user_version = {}; PRAGMA application_id = {}", number, kApplicationId));
}

Result<Transaction> begin_step(Db& db) {
  auto begun = Transaction::begin(db);
  if (begun) return begun;
  return tl::unexpected(
      within("it can't be made ready for this everytake; where it can't be written, copy the shoot's "
             "folder to where it can",
             std::move(begun.error())));
}

}  // namespace

std::span<const SchemaStep> schema_steps() {
  return kSteps;
}

Result<void> migrate(Db& db, std::span<const SchemaStep> steps) {
  const auto newest = static_cast<std::int64_t>(steps.size());
  {
    const auto look = TRY(Transaction::begin(db, Transaction::Mode::read));
    if (TRY(version_of(db, newest)) == newest) return {};
  }
  for (std::int64_t version = 0; version < newest;) {
    auto transaction = TRY(begin_step(db));
    version = TRY(version_of(db, newest));
    if (version == newest) break;
    TRY(take_step(db, steps[static_cast<std::size_t>(version)], version + 1));
    TRY(transaction.commit());
  }
  return {};
}

}  // namespace everytake::catalogue
