// Values as bytes, to go between programs of one build: one item of CBOR (RFC 8949) each, in which a struct is a map of
// the fields of its list (fields.h). Never kept, so the form may change with every version.
#pragma once

#include <boost/filesystem/path.hpp>
#include <chrono>
#include <concepts>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <type_traits>
#include <utility>
#include <vector>

#include "base/clock.h"
#include "base/fields.h"
#include "base/json.h"
#include "base/rational.h"
#include "base/result.h"

namespace everytake {

inline constexpr std::size_t kMostPacked = 1 << 20;   // bytes of a value; what may be larger is sent as it is
inline constexpr std::size_t kMostPackedText = 4096;  // bytes: a path, and more than any sentence

template <>
inline constexpr auto kLast<Code> = Code::cancelled;
template <>
inline constexpr auto kFields<Error> = std::tuple{NamedMember{"code", &Error::code}, NamedMember{"what", &Error::what},
                                                  NamedMember{"number", &Error::number}};

namespace detail {

template <class T>
concept Enumeration = std::is_enum_v<T>;

struct Wire {
  static Json put(bool value) { return value; }
  static Json put(double value) { return value; }
  static Json put(const std::string& bytes) { return bytes; }
  static Json put(const boost::filesystem::path& path) { return path.native(); }
  static Json put(Micros time) { return time.count(); }
  static Json put(Rational value) { return Json::array({value.num(), value.den()}); }
  template <std::integral T>
  static Json put(T value) {
    return value;
  }
  template <Enumeration T>
  static Json put(T value) {
    return static_cast<int>(value);
  }
  template <class Clock, class Duration>
  static Json put(std::chrono::time_point<Clock, Duration> moment) {
    return moment.time_since_epoch().count();
  }
  template <class T>
  static Json put(const std::optional<T>& value) {
    return value ? put(*value) : Json();
  }
  template <class T>
  static Json put(const std::vector<T>& values) {
    auto json = Json::array();
    for (const auto& value : values) json.push_back(put(value));
    return json;
  }
  template <class Key, class T>
  static Json put(const std::map<Key, T>& values) {
    auto json = Json::array();
    for (const auto& [key, value] : values) json.push_back(Json::array({put(key), put(value)}));
    return json;
  }
  template <Listed T>
  static Json put(const T& values) {
    auto json = Json::object();
    for_each_field(values, [&](const auto& field, const auto& value) { json[field.name] = put(value); });
    return json;
  }

  // Whether `json` is such a value, which is then in `value`.
  static bool take(const Json& json, bool& value) {
    if (json.is_boolean()) value = json.get<bool>();
    return json.is_boolean();
  }
  static bool take(const Json& json, double& value) {
    if (json.is_number_float()) value = json.get<double>();
    return json.is_number_float();
  }
  static bool take(const Json& json, std::string& bytes) {
    const auto* const text = json.get_ptr<const std::string*>();
    if (!text || text->size() > kMostPackedText) return false;
    bytes = *text;
    return true;
  }
  static bool take(const Json& json, boost::filesystem::path& path) {
    std::string bytes;
    if (!take(json, bytes)) return false;
    path = bytes;
    return true;
  }
  static bool take(const Json& json, Micros& time) {
    Micros::rep count = 0;
    if (!take(json, count)) return false;
    time = Micros(count);
    return true;
  }
  static bool take(const Json& json, Rational& value) {
    std::vector<std::int64_t> parts;
    if (!take(json, parts) || parts.size() != 2) return false;
    const auto fraction = positive_fraction(parts[0], parts[1]);
    if (fraction) value = *fraction;
    return fraction.has_value();
  }
  template <std::integral T>
  static bool take(const Json& json, T& value) {
    if (!json.is_number_integer()) return false;
    const bool fits = json.is_number_unsigned() ? std::in_range<T>(json.get<std::uint64_t>())
                                                : std::in_range<T>(json.get<std::int64_t>());
    if (fits) value = json.get<T>();
    return fits;
  }
  template <Enumeration T>
  static bool take(const Json& json, T& value) {
    int number = 0;
    if (!take(json, number) || number < 0 || number > static_cast<int>(kLast<T>)) return false;
    value = static_cast<T>(number);
    return true;
  }
  template <class Clock, class Duration>
  static bool take(const Json& json, std::chrono::time_point<Clock, Duration>& moment) {
    typename Duration::rep count = 0;
    if (!take(json, count)) return false;
    moment = std::chrono::time_point<Clock, Duration>(Duration(count));
    return true;
  }
  template <class T>
  static bool take(const Json& json, std::optional<T>& value) {
    value.reset();
    return json.is_null() || take(json, value.emplace());
  }
  template <class T>
  static bool take(const Json& json, std::vector<T>& values) {
    if (!json.is_array()) return false;
    values.clear();
    for (const auto& each : json)
      if (!take(each, values.emplace_back())) return false;
    return true;
  }
  template <class Key, class T>
  static bool take(const Json& json, std::map<Key, T>& values) {
    if (!json.is_array()) return false;
    for (const auto& pair : json) {
      Key key;
      if (!pair.is_array() || pair.size() != 2 || !take(pair[0], key) || !take(pair[1], values[key])) return false;
    }
    return true;
  }
  template <Listed T>
  static bool take(const Json& json, T& values) {
    bool all = json.is_object() && json.size() == std::tuple_size_v<std::remove_const_t<decltype(kFields<T>)>>;
    for_each_field(values, [&](const auto& field, auto& value) {
      const auto found = all ? json.find(field.name) : json.end();
      all = all && found != json.end() && take(*found, value);
    });
    return all;
  }
};

}  // namespace detail

template <class T>
std::string pack(const T& value) {
  return to_cbor(detail::Wire::put(value));
}

// `corrupt` for bytes that are no such value, whoever made them: also for a field that is missing, or one more than
// its list has, for a fraction that is no positive_fraction(), a number its type can't hold, and what is too long.
template <class T>
Result<T> unpack(std::string_view bytes) {
  T value{};
  if (bytes.size() <= kMostPacked && detail::Wire::take(from_cbor(bytes), value)) return value;
  return fail(Code::corrupt, "what the other process says can't be understood");
}

}  // namespace everytake
