// The members of a struct as a list, for code that treats one like the other.
#pragma once

#include <cstddef>
#include <tuple>
#include <type_traits>

namespace everytake {

template <class Struct, class T>
struct NamedMember {
  constexpr NamedMember(const char* its_name, T Struct::*its_member) : name(its_name), member(its_member) {}
  const char* name;
  T Struct::*member;
};

// A struct's list: a std::tuple of these, or of what has a name and a member as they do, specialised for each struct
// that has one.
template <class Struct>
inline constexpr std::nullptr_t kFields = nullptr;

// The last value of an enumeration that counts from 0: to be said of each that stands in a packed value (wire.h).
template <class Enum>
inline constexpr std::nullptr_t kLast = nullptr;

template <class T>
concept Listed = !std::is_null_pointer_v<std::remove_const_t<decltype(kFields<T>)>>;

// Calls `visit(field, member)` for each, in the list's order.
template <class Struct, class Visit>
constexpr void for_each_field(Struct& values, Visit&& visit) {
  std::apply([&](const auto&... field) { (visit(field, values.*(field.member)), ...); },
             kFields<std::remove_const_t<Struct>>);
}

}  // namespace everytake
