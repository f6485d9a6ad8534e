// The fields of one table of the plan, each read once with its type and range checked. Used by this stage alone.
#pragma once

#include <initializer_list>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "plan/document.h"

namespace everytake::plan {

using PlanErrors = std::vector<PlanError>;

struct Named {
  std::string name;
  TextPosition position;
};

// Reading a field that is not there gives nullopt. One that is wrong gives nullopt and adds an error.
class Fields {
 public:
  // `table` may be null, for one that is not there: errors then point at `fallback`. Fields outside `known` are errors.
  // `who` begins each message: "section \"Verse 1\"". Everything given must outlive this.
  Fields(const Value* table, std::string who, std::initializer_list<const char*> known, PlanErrors& errors,
         TextPosition fallback = {});

  // A text for people: nothing in it that a terminal would obey.
  std::optional<std::string> text(const char* key);
  // A text that says something.
  std::optional<std::string> name(const char* key);
  // A text that is one of `choices`.
  std::optional<std::string> choice(const char* key, std::initializer_list<const char*> choices);
  // A number, whole or not.
  std::optional<double> number(const char* key, double least, double most);
  std::optional<int> whole(const char* key, int least, int most);
  std::optional<bool> truth(const char* key);
  // A song time: "m:ss[.fff]", "h:mm:ss[.fff]" or seconds.
  std::optional<Micros> time(const char* key);
  // A list of texts, each with its position.
  std::optional<std::vector<Named>> texts(const char* key);

  bool has(const char* key) const { return find(key) != nullptr; }
  const Value* find(const char* key) const;
  TextPosition position(const char* key) const;  // of its value; of the table where it is not there

  // Adds an error about a field, or about the table where it is not there.
  void error(const char* key, std::string message, std::string hint = "");
  // The same at a position within a field.
  void error(TextPosition position, std::string message, std::string hint = "");
  // Adds an error where the field is not there.
  void require(const char* key, std::string hint);

 private:
  std::nullopt_t wrong(const char* key, const std::string& message, const std::string& hint = "");

  const Value::Table* table_ = nullptr;
  const std::string who_;
  const TextPosition position_;
  PlanErrors& errors_;
};

// How messages call the table: section "Verse 1", or section 3 where it has no name.
std::string called(const char* kind, std::size_t number, const Value& table);

// Adds an error for each name that was there before. Empty names are not looked at.
void refuse_twice(const char* kind, const std::vector<Named>& names, PlanErrors& errors);

// A table in the list [[key]] of `document`, or nothing; [key] instead of [[key]] is an error.
std::vector<const Value*> tables(const Value& document, const char* key, PlanErrors& errors);
// The table [key], or nullptr; anything else is an error.
const Value* table(const Value& document, const char* key, PlanErrors& errors);

}  // namespace everytake::plan
