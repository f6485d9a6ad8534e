// JSON, and the one decision about names that are no UTF-8: replacement characters in text, the bytes in *_base64.
#pragma once

#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <string_view>

namespace everytake {

using Json = nlohmann::ordered_json;

// One line of UTF-8 that can go to a terminal: what shown() would not show is written as \uXXXX. Bytes that are no
// UTF-8 become U+FFFD.
std::string dump(const Json& json);

// CBOR (RFC 8949), for programs of ours among themselves: its text may be any bytes.
std::string to_cbor(const Json& json);
// A discarded value for what is no CBOR, whatever the bytes.
Json from_cbor(std::string_view bytes);

// Sets `key` to `name`, and `<key>_base64` to its exact bytes where it is no UTF-8.
void put_name(Json& object, const std::string& key, const std::string& name);

// null for nullopt.
template <class T>
Json maybe(const std::optional<T>& value) {
  return value ? Json(*value) : Json(nullptr);
}

}  // namespace everytake
