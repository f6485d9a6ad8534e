// What is known of a clip as columns of the table `clip`: their names, and their values both ways, from the list of its
// fields. The order is the list's everywhere.
#pragma once

#include <optional>
#include <string>
#include <tuple>
#include <type_traits>
#include <vector>

#include "catalogue/columns.h"
#include "clip_fields.h"

namespace everytake::catalogue {

template <class T>
inline constexpr bool kIsGroup = false;  // stands as the columns of its own fields
template <Listed T>
inline constexpr bool kIsGroup<std::optional<T>> = true;

template <class T>
inline constexpr bool kHasRows = std::is_same_v<T, std::vector<Problem>>;  // of its own, and no column

template <class Struct>
void add_columns(std::vector<std::string>& names) {
  const auto add = [&]<class Of, class T>(const ClipField<Of, T>& field) {
    if constexpr (kIsGroup<T>)
      add_columns<typename T::value_type>(names);
    else if constexpr (!kHasRows<T>)
      names.emplace_back(field.name);
  };
  std::apply([&](const auto&... field) { (add(field), ...); }, kFields<Struct>);
}

// "duration_us", "frames" …
template <class Struct>
std::vector<std::string> columns_of() {
  std::vector<std::string> names;
  add_columns<Struct>(names);
  return names;
}

// What to bind for a member, as a tuple; it refers to `value`.
template <class T>
auto bound(const T& value) {
  if constexpr (kIsGroup<T>)
    return std::apply(
        [&](const auto&... field) {
          return std::tuple{value ? std::optional((*value).*(field.member)) : std::nullopt...};
        },
        kFields<typename T::value_type>);
  else if constexpr (kHasRows<T>)
    return std::tuple{};
  else if constexpr (std::is_same_v<T, std::optional<Rational>>)
    return std::tuple{value ? std::optional(to_string(*value)) : std::nullopt};
  else if constexpr (std::is_same_v<T, std::map<std::string, std::string>>)
    return std::tuple{origin_text(value)};
  else
    return std::tie(value);
}

// A value a column; it refers to `values`.
template <class Struct>
auto values_of(const Struct& values) {
  return std::apply([&](const auto&... field) { return std::tuple_cat(bound(values.*(field.member))...); },
                    kFields<Struct>);
}

// Takes a member's columns off the row.
template <class T>
void read_into(T& value, Statement& row) {
  if constexpr (kIsGroup<T>) {
    auto& group = value.emplace();
    bool whole = true;
    for_each_field(group, [&]<class Part>(const auto&, Part& part) {
      const auto read = row.next<std::optional<Part>>();
      whole = whole && read;
      part = read.value_or(Part{});
    });
    if (!whole) value.reset();
  } else if constexpr (std::is_same_v<T, std::optional<Rational>>) {
    if (const auto text = row.next<std::optional<std::string>>()) value = parse_rate(*text);
  } else if constexpr (std::is_same_v<T, std::map<std::string, std::string>>) {
    value = origin_of(row.next<std::string>());
  } else if constexpr (!kHasRows<T>) {
    value = row.next<T>();
  }
}

// Takes all columns of it off the row.
template <class Struct>
Struct read_columns(Statement& row) {
  Struct values;
  for_each_field(values, [&](const auto&, auto& value) { read_into(value, row); });
  return values;
}

}  // namespace everytake::catalogue
