#include "catalogue/migrate.h"

#include <fmt/format.h>

namespace everytake {
namespace {

struct Step {
  const char* name;
  const char* sql;
};

constexpr Step kSteps[] = {
#include "migrations.inc"
};

Result<std::int64_t> pragma(Db& db, const char* name) {
  auto statement = TRY(db.prepare(fmt::format("PRAGMA {}", name)));
  TRY(statement.step());
  return statement.integer(0);
}

Result<void> check_pages(Db& db) {
  auto statement = TRY(db.prepare("PRAGMA quick_check(1)"));
  const auto row = statement.step();
  if (row && statement.text(0) == "ok") return {};
  return fail(Code::corrupt,
              "the catalogue is damaged: keep catalogue.sqlite for the record, and make a new one with "
              "'everytake rebuild DESTINATION'");
}

}  // namespace

int schema_version() {
  return static_cast<int>(std::size(kSteps));
}

Result<void> migrate(Db& db) {
  TRY(check_pages(db));
  const auto found = TRY(pragma(db, "user_version"));
  if (found > schema_version())
    return fail(
        Code::unsupported,
        fmt::format("the catalogue is of a newer everytake (schema {}, this one knows {}): use the newer program",
                    found, schema_version()));
  for (auto version = found; version < schema_version(); ++version) {
    auto transaction = TRY(Transaction::begin(db));
    // Another process may have taken the step while this one waited for the lock.
    if (TRY(pragma(db, "user_version")) > version) continue;
    TRY(db.execute(kSteps[version].sql));
    TRY(db.execute(fmt::format("PRAGMA user_version = {}", version + 1)));
    TRY(transaction.commit());
  }
  return {};
}

}  // namespace everytake
