// A TOML text as values that know their position. Used by this stage alone.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "plan/plan.h"

namespace everytake::plan {

struct PlanField;
struct Value {
  using List = std::vector<Value>;
  using Table = std::vector<PlanField>;  // in no order to rely on
  struct Other {};                       // a date or a time of day
  TextPosition position;
  std::variant<Table, List, std::string, std::int64_t, double, bool, Other> data;
};
struct PlanField {
  std::string key;
  TextPosition key_position;
  Value value;
};

// TOML 1.0. The top of the document is a table.
tl::expected<Value, PlanError> parse_toml(std::string_view text);

}  // namespace everytake::plan
