// What an option's value must look like. One that can't be read is a usage error, as an unknown option is.
#pragma once

#include <fmt/format.h>

#include <CLI/Validators.hpp>
#include <string>

#include "base/text.h"

namespace everytake::cli {

// Takes what `parse` takes (its result is true in a condition); else says `how` to write it.
template <class Parse>
CLI::Validator written_as(Parse parse, std::string how) {
  return {[parse, how = std::move(how)](std::string& text) {
            return parse(text) ? std::string() : fmt::format("{}: {}", shown(text), how);
          },
          ""};
}

inline constexpr const char* kKindChoice = "choose performance, b-roll or slow-mo";

}  // namespace everytake::cli
