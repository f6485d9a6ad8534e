#include "base/json.h"

#include "base/text.h"

namespace everytake {

std::string dump(const Json& json) {
  return escaped_json(json.dump(-1, ' ', false, Json::error_handler_t::replace));
}

std::string to_cbor(const Json& json) {
  std::string bytes;
  Json::to_cbor(json, bytes);
  return bytes;
}

// The library throws for a size that can't be, also where it is told not to.
Json from_cbor(std::string_view bytes) {
  try {
    return Json::from_cbor(bytes, true, false);
  } catch (const Json::exception&) {
    return Json(Json::value_t::discarded);
  }
}

void put_name(Json& object, const std::string& key, const std::string& name) {
  object[key] = name;
  if (!is_utf8(name)) object[key + "_base64"] = base64(name);
}

}  // namespace everytake
