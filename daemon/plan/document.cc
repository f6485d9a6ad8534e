#include "plan/document.h"

#include <toml++/toml.h>

#include "base/text.h"

namespace everytake::plan {
namespace {

// toml++ nests by recursion, and its tables are freed by recursion: keys of thousands of parts would use up the stack.
// No plan has a key of more than three parts.
constexpr int kMostKeyParts = 16;

TextPosition position_of(const toml::source_region& region) {
  return {static_cast<int>(region.begin.line), static_cast<int>(region.begin.column)};
}

Value value_of(const toml::node& node);

Value::Table fields_of(const toml::table& table) {
  Value::Table fields;
  for (const auto& [key, node] : table)
    fields.push_back({std::string(key.str()), position_of(key.source()), value_of(node)});
  return fields;
}

Value::List items_of(const toml::array& array) {
  Value::List items;
  for (const auto& node : array) items.push_back(value_of(node));
  return items;
}

Value value_of(const toml::node& node) {
  const TextPosition position = position_of(node.source());
  if (const auto* table = node.as_table()) return {position, fields_of(*table)};
  if (const auto* array = node.as_array()) return {position, items_of(*array)};
  if (const auto* text = node.as_string()) return {position, text->get()};
  if (const auto* whole = node.as_integer()) return {position, whole->get()};
  if (const auto* number = node.as_floating_point()) return {position, number->get()};
  if (const auto* truth = node.as_boolean()) return {position, truth->get()};
  return {position, Value::Other{}};
}

// Past a comment or a quoted text that begins at `at`, to its last character; `at` itself where neither does.
std::size_t skip_words(std::string_view text, std::size_t at) {
  if (text[at] == '#') return std::min(text.find('\n', at), text.size()) - 1;
  if (text[at] != '"' && text[at] != '\'') return at;
  const std::string fence(3, text[at]);
  if (text.substr(at, 3) == fence) return std::min(text.find(fence, at + 3), text.size() - 3) + 2;
  for (std::size_t i = at + 1; i < text.size(); ++i) {
    if (text[i] == '\n') return i - 1;
    if (text[i] == text[at]) return i;
    if (text[i] == '\\' && text[at] == '"' && i + 1 < text.size() && text[i + 1] != '\n') ++i;
  }
  return text.size() - 1;
}

// The line with a key of too many parts; 0 where there is none.
int line_of_deep_key(std::string_view text) {
  int dots = 0;
  for (std::size_t i = 0; i < text.size(); ++i) {
    i = skip_words(text, i);
    if (text[i] == '.' && ++dots >= kMostKeyParts)
      return 1 + static_cast<int>(std::count(text.begin(), text.begin() + static_cast<std::ptrdiff_t>(i), '\n'));
    if (std::string_view("\n=[]{},").find(text[i]) != std::string_view::npos) dots = 0;
  }
  return 0;
}

// toml++ calls the end of the line a control character, which is true and no help.
std::string syntax_fault(std::string_view description) {
  if (description.find("parsing string: unescaped control") != std::string_view::npos)
    return "a text has no closing quote in its line, or a control character in it";
  return shown(description);
}

}  // namespace

tl::expected<Value, PlanError> parse_toml(std::string_view text) {
  if (const int line = line_of_deep_key(text); line > 0)
    return tl::unexpected(PlanError{{line, 1}, "a key with more parts than any setting has", ""});
  try {
    const toml::table table = toml::parse(text);
    return Value{{}, fields_of(table)};
  } catch (const toml::parse_error& error) {
    return tl::unexpected(PlanError{position_of(error.source()), syntax_fault(error.description()), ""});
  }
}

}  // namespace everytake::plan
