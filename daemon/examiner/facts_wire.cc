#include "examiner/facts_wire.h"

#include <algorithm>
#include <cstdint>
#include <limits>
#include <type_traits>

#include "base/json.h"

namespace everytake::examiner {
namespace {

constexpr std::size_t kMostText = 4096;              // a path, and more than any sentence
constexpr std::size_t kMostRows = 256;               // problems, or origins
constexpr std::int64_t kMostOfFraction = INT32_MAX;  // so that products fit
constexpr std::int64_t kMostNumber = 1'000'000'000'000;
constexpr std::int64_t kMostMicros = 100LL * 366 * 86400 * 1'000'000;

struct Unfit {};  // thrown within this file alone

// All of them, by name, for both directions.
template <class Facts, class Visit>
void each_field(Facts& facts, Visit&& visit) {
  visit("duration", facts.duration);
  visit("frames", facts.frames);
  visit("frame_rate", facts.frame_rate);
  visit("capture_rate", facts.capture_rate);
  visit("width", facts.width);
  visit("height", facts.height);
  visit("rotation", facts.rotation);
  visit("codec", facts.codec);
  visit("bit_depth", facts.bit_depth);
  visit("bit_rate", facts.bit_rate);
  visit("gamma", facts.gamma);
  visit("gamut", facts.gamut);
  visit("timecode", facts.timecode);
  visit("drop_frame", facts.drop_frame);
  visit("recorded_at", facts.recorded_at);
  visit("camera", facts.camera);
  visit("lens", facts.lens);
  visit("iso", facts.iso);
  visit("shutter", facts.shutter);
  visit("white_balance", facts.white_balance);
  visit("audio", facts.audio);
}

Json packed(bool value) {
  return value;
}
Json packed(std::int64_t value) {
  return value;
}
Json packed(int value) {
  return value;
}
Json packed(const std::string& value) {
  return value;
}
Json packed(Micros value) {
  return value.count();
}
Json packed(Instant value) {
  return value.time_since_epoch().count();
}
Json packed(Rational value) {
  return Json::array({value.num(), value.den()});
}

std::int64_t whole(const Json& json, std::int64_t least, std::int64_t most) {
  if (!json.is_number_integer()) throw Unfit();
  if (json.is_number_unsigned() && json.get<std::uint64_t>() > static_cast<std::uint64_t>(most)) throw Unfit();
  const auto value = json.get<std::int64_t>();
  if (value < least || value > most) throw Unfit();
  return value;
}

std::string text(const Json& json) {
  if (!json.is_string() || json.get_ref<const std::string&>().size() > kMostText) throw Unfit();
  return json.get<std::string>();
}

template <class T>
T unpacked(const Json& json) {
  if constexpr (std::is_same_v<T, bool>) {
    if (!json.is_boolean()) throw Unfit();
    return json.get<bool>();
  } else if constexpr (std::is_same_v<T, std::string>) {
    return text(json);
  } else if constexpr (std::is_same_v<T, Micros>) {
    return Micros(whole(json, -kMostMicros, kMostMicros));
  } else if constexpr (std::is_same_v<T, Instant>) {
    return Instant(Micros(whole(json, -10 * kMostMicros, 10 * kMostMicros)));
  } else if constexpr (std::is_same_v<T, Rational>) {
    if (!json.is_array() || json.size() != 2) throw Unfit();
    return Rational(whole(json[0], 1, kMostOfFraction), whole(json[1], 1, kMostOfFraction));
  } else {
    return static_cast<T>(whole(json, 0, std::min<std::int64_t>(kMostNumber, std::numeric_limits<T>::max())));
  }
}

const Json& field(const Json& json, const char* name) {
  const auto found = json.find(name);
  if (found == json.end()) throw Unfit();
  return *found;
}

const Json& rows(const Json& json) {
  if (!json.is_array() || json.size() > kMostRows) throw Unfit();
  return json;
}

ClipFacts facts_in(const Json& json) {
  if (!json.is_object()) throw Unfit();
  ClipFacts facts;
  each_field(facts, [&](const char* name, auto& value) {
    using T = typename std::remove_reference_t<decltype(value)>::value_type;
    if (const auto& each = field(json, name); !each.is_null()) value = unpacked<T>(each);
  });
  for (const auto& row : rows(field(json, "problems"))) {
    if (!row.is_array() || row.size() != 4) throw Unfit();
    facts.problems.push_back({text(row[0]), text(row[1]), text(row[2]), text(row[3])});
  }
  for (const auto& row : rows(field(json, "origin"))) {
    if (!row.is_array() || row.size() != 2) throw Unfit();
    facts.origin.emplace(text(row[0]), text(row[1]));
  }
  return facts;
}

}  // namespace

std::string pack_facts(const ClipFacts& facts) {
  Json json = Json::object();
  each_field(facts, [&](const char* name, const auto& value) { json[name] = value ? packed(*value) : Json(nullptr); });
  json["problems"] = json["origin"] = Json::array();
  for (const auto& each : facts.problems)
    json["problems"].push_back(Json::array({each.code, each.path, each.destination, each.message}));
  for (const auto& [name, source] : facts.origin) json["origin"].push_back(Json::array({name, source}));
  return to_cbor(json);
}

Result<ClipFacts> unpack_facts(std::string_view bytes) {
  try {
    return facts_in(from_cbor(bytes));
  } catch (const Unfit&) {
    return fail(Code::corrupt, "what is said of a recording can't be");
  }
}

}  // namespace everytake::examiner
