#include "plan/fields.h"

#include <fmt/format.h>

#include <algorithm>
#include <map>

#include "base/text.h"

namespace everytake::plan {
namespace {

constexpr int kMostShown = 40;  // columns of a value quoted in a message
constexpr const char* kTimes = "a time is minutes:seconds such as \"1:42.500\", or seconds";

const Value* field(const Value::Table& table, std::string_view key) {
  const auto found = std::find_if(table.begin(), table.end(), [key](const PlanField& f) { return f.key == key; });
  return found == table.end() ? nullptr : &found->value;
}

std::string in_quotes(std::string_view text) {
  std::string visible = shown(text);
  if (display_width(visible) > kMostShown) visible = fit(visible, kMostShown);
  return "\"" + visible + "\"";
}

std::string listed(std::initializer_list<const char*> choices) {
  std::string text;
  for (const char* choice : choices) text += (text.empty() ? "\"" : ", \"") + std::string(choice) + "\"";
  return text;
}

std::optional<double> as_number(const Value& value) {
  if (const auto* whole = std::get_if<std::int64_t>(&value.data)) return static_cast<double>(*whole);
  if (const auto* number = std::get_if<double>(&value.data)) return *number;
  return std::nullopt;
}

}  // namespace

Fields::Fields(const Value* table, std::string who, std::initializer_list<const char*> known, PlanErrors& errors,
               TextPosition fallback)
    : table_(table ? std::get_if<Value::Table>(&table->data) : nullptr),
      who_(std::move(who)),
      position_(table ? table->position : fallback),
      errors_(errors) {
  if (!table_) return;
  const std::vector<std::string> names(known.begin(), known.end());
  for (const auto& [key, key_position, value] : *table_) {
    if (std::find(names.begin(), names.end(), key) != names.end()) continue;
    const auto meant = nearest(key, names);
    const auto hint =
        meant ? fmt::format("did you mean \"{}\"?", *meant) : fmt::format("known are {}", fmt::join(names, ", "));
    errors_.push_back(
        {key_position, fmt::format("{}unknown key {}", who_.empty() ? "" : who_ + ": ", in_quotes(key)), hint});
  }
}

const Value* Fields::find(const char* key) const {
  return table_ ? field(*table_, key) : nullptr;
}

TextPosition Fields::position(const char* key) const {
  const Value* value = find(key);
  return value ? value->position : position_;
}

void Fields::error(const char* key, std::string message, std::string hint) {
  error(position(key), std::move(message), std::move(hint));
}

void Fields::error(TextPosition position, std::string message, std::string hint) {
  errors_.push_back({position, fmt::format("{}: {}", who_, message), std::move(hint)});
}

void Fields::require(const char* key, std::string hint) {
  if (!has(key)) error(key, fmt::format("{} is missing", key), std::move(hint));
}

std::nullopt_t Fields::wrong(const char* key, const std::string& message, const std::string& hint) {
  error(key, message, hint);
  return std::nullopt;
}

std::optional<std::string> Fields::text(const char* key) {
  const Value* value = find(key);
  if (!value) return std::nullopt;
  const auto* text = std::get_if<std::string>(&value->data);
  if (!text) return wrong(key, fmt::format("{} must be a text", key), fmt::format("{} = \"…\"", key));
  if (shown(*text) != *text) return wrong(key, fmt::format("{} has control characters in it", key));
  return *text;
}

std::optional<std::string> Fields::name(const char* key) {
  const auto value = text(key);
  if (value && value->find_first_not_of(' ') == std::string::npos) return wrong(key, fmt::format("{} is empty", key));
  return value;
}

std::optional<std::string> Fields::choice(const char* key, std::initializer_list<const char*> choices) {
  const auto value = text(key);
  if (!value || std::find(choices.begin(), choices.end(), *value) != choices.end()) return value;
  return wrong(key, fmt::format("{} can't be {}", key, in_quotes(*value)), "it can be " + listed(choices));
}

std::optional<double> Fields::number(const char* key, double least, double most) {
  const Value* value = find(key);
  if (!value) return std::nullopt;
  const auto number = as_number(*value);
  if (!number) return wrong(key, fmt::format("{} must be a number", key), fmt::format("without quotes: {} = …", key));
  if (!(*number >= least && *number <= most))  // NaN is in no range
    return wrong(key, fmt::format("{} = {} is out of range", key, *number), fmt::format("{} to {}", least, most));
  return number;
}

std::optional<int> Fields::whole(const char* key, int least, int most) {
  const Value* value = find(key);
  if (!value) return std::nullopt;
  const auto* whole = std::get_if<std::int64_t>(&value->data);
  if (!whole) return wrong(key, fmt::format("{} must be a whole number", key));
  if (*whole < least || *whole > most)
    return wrong(key, fmt::format("{} = {} is out of range", key, *whole), fmt::format("{} to {}", least, most));
  return static_cast<int>(*whole);
}

std::optional<bool> Fields::truth(const char* key) {
  const Value* value = find(key);
  if (!value) return std::nullopt;
  const auto* truth = std::get_if<bool>(&value->data);
  if (!truth) return wrong(key, fmt::format("{} must be true or false", key), "without quotes");
  return *truth;
}

std::optional<Micros> Fields::time(const char* key) {
  const Value* value = find(key);
  if (!value) return std::nullopt;
  if (const auto* text = std::get_if<std::string>(&value->data)) {
    const auto time = parse_song_time(*text);
    return time ? time : wrong(key, fmt::format("{} = {} is no time", key, in_quotes(*text)), kTimes);
  }
  if (!as_number(*value)) return wrong(key, fmt::format("{} must be a time", key), kTimes);
  const auto seconds = number(key, 0, 86400);
  return seconds ? std::optional(from_seconds(*seconds)) : std::nullopt;
}

std::optional<std::vector<Named>> Fields::texts(const char* key) {
  const Value* value = find(key);
  if (!value) return std::nullopt;
  const auto* list = std::get_if<Value::List>(&value->data);
  if (!list) return wrong(key, fmt::format("{} must be a list", key), fmt::format("{} = [\"…\", \"…\"]", key));
  std::vector<Named> texts;
  for (const auto& item : *list) {
    const auto* text = std::get_if<std::string>(&item.data);
    if (!text) return wrong(key, fmt::format("{} must be a list of texts", key));
    texts.push_back({*text, item.position});
  }
  return texts;
}

std::string called(const char* kind, std::size_t number, const Value& table) {
  const Value* name = field(std::get<Value::Table>(table.data), "name");
  const auto* text = name ? std::get_if<std::string>(&name->data) : nullptr;
  return text && !text->empty() ? fmt::format("{} {}", kind, in_quotes(*text)) : fmt::format("{} {}", kind, number);
}

void refuse_twice(const char* kind, const std::vector<Named>& names, PlanErrors& errors) {
  std::map<std::string, int> lines;
  for (const auto& [name, position] : names) {
    const auto [first, is_new] = lines.try_emplace(name, position.line);
    if (is_new || name.empty()) continue;
    errors.push_back({position, fmt::format("{} {} is there twice", kind, in_quotes(name)),
                      fmt::format("the first is in line {}", first->second)});
  }
}

std::vector<const Value*> tables(const Value& document, const char* key, PlanErrors& errors) {
  std::vector<const Value*> found;
  const Value* value = field(std::get<Value::Table>(document.data), key);
  if (!value) return found;
  const auto refuse = [&](const Value& what) {
    errors.push_back({what.position, fmt::format("\"{}\" is not written as a table of its own", key),
                      fmt::format("begin each one with [[{}]]", key)});
  };
  const auto* list = std::get_if<Value::List>(&value->data);
  if (!list)
    refuse(*value);
  else
    for (const auto& item : *list)
      if (std::holds_alternative<Value::Table>(item.data))
        found.push_back(&item);
      else
        refuse(item);
  return found;
}

const Value* table(const Value& document, const char* key, PlanErrors& errors) {
  const Value* value = field(std::get<Value::Table>(document.data), key);
  if (!value || std::holds_alternative<Value::Table>(value->data)) return value;
  errors.push_back({value->position, fmt::format("\"{}\" must be a table", key), fmt::format("write it as [{}]", key)});
  return nullptr;
}

}  // namespace everytake::plan
