#include "base/json.h"

#include "base/text.h"

namespace everytake {

std::string dump(const Json& json) {
  return json.dump(-1, ' ', false, Json::error_handler_t::replace);
}

void put_name(Json& object, const std::string& key, const std::string& name) {
  object[key] = name;
  if (!is_utf8(name)) object[key + "_base64"] = base64(name);
}

}  // namespace everytake
