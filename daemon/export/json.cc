#include "export/json.h"

#include <algorithm>

#include "base/text.h"
#include "clip_fields.h"

namespace everytake::exports {
namespace {

Json seconds_or_null(std::optional<Micros> time) {
  return time ? Json(seconds(*time)) : Json();
}
Json moment_or_null(std::optional<Instant> moment) {
  return moment ? Json(iso8601(*moment)) : Json();
}

// How a fact is written: a rate as text, but what is a time in seconds, as its key says, as a number.
template <class T>
Json fact_json(std::string_view key, const T& fact) {
  if constexpr (std::is_same_v<T, Micros>)
    return seconds(fact);
  else if constexpr (std::is_same_v<T, Instant>)
    return iso8601(fact);
  else if constexpr (std::is_same_v<T, Rational>)
    return key.ends_with("_s") ? Json(fact.value()) : Json(to_string(fact));
  else
    return fact;
}

template <class T>
void put_fact(Json& json, const char* key, const std::optional<T>& fact) {
  json[key] = fact ? fact_json(key, *fact) : Json();
}
// Its fields each. Where no sound could be decoded there is nothing to say of it.
void put_fact(Json& json, const char*, const std::optional<SoundLevels>& levels) {
  const bool heard = levels && levels->samples > 0;
  const auto known = levels.value_or(SoundLevels{});
  for_each_field(known, [&](const auto& field, const auto& part) {
    if (field.key) json[field.key] = heard ? Json(part) : Json();
  });
}
void put_fact(Json&, const char*, const std::optional<FramesSeen>&) {}  // what is black is a problem instead
void put_fact(Json&, const char*, const std::vector<Problem>&) {}       // these two stand at a clip's end
void put_fact(Json&, const char*, const std::map<std::string, std::string>&) {}

void put_facts(Json& json, const ClipFacts& facts) {
  for_each_field(facts, [&](const auto& field, const auto& fact) {
    put_fact(json, field.key, fact);
    if (field.name == std::string_view("capture_rate")) {
      const auto factor = slow_factor(facts);
      json["slow_factor"] = factor ? Json(factor->value()) : Json();
    }
  });
}

void put_judgement(Json& json, const Judgement& judgement) {
  const bool known = judgement.kind.has_value();
  json["kind"] = known ? Json(to_string(*judgement.kind)) : Json();
  json["kind_by"] = known ? Json(to_string(judgement.by)) : Json();
  json["because"] = judgement.because.empty() ? Json() : Json(judgement.because);
}

Json sections_held(const Placement& placement, const Plan& plan) {
  Json names = Json::array();
  for (const auto& section : plan.sections)
    if (holds(placement, section)) names.push_back(section.name);
  return names;
}

// Only a placed clip has a place: of an ambiguous one there are candidates.
Json song_json(const Clip& clip, const Plan& plan) {
  const auto& placement = clip.placement;
  const bool placed = placement.state == Placement::State::placed;
  Json json{{"state", to_string(placement.state)},
            {"by", placed ? Json(to_string(placement.by)) : Json()},
            {"start_s", placed ? Json(seconds(placement.start)) : Json()},
            {"speed", placed ? Json(placement.speed) : Json()},
            {"drift_ppm", placed ? Json(placement.drift_ppm) : Json()},
            {"stored_slow", placed ? maybe(stored_slow(clip)) : Json()},
            {"confidence", placed ? maybe(placement.confidence) : Json()},
            {"spans", Json::array()},
            {"settled_by", placement.settled_by.empty() ? Json() : Json(placement.settled_by)},
            {"sections", sections_held(placement, plan)},
            {"candidates", Json::array()}};
  if (placed)
    for (const auto& span : placement.spans)
      json["spans"].push_back(Json::array({seconds(span.start), seconds(span.end)}));
  for (const auto& candidate : placement.candidates)
    json["candidates"].push_back({{"start_s", seconds(candidate.start)}, {"confidence", candidate.confidence}});
  return json;
}

Json copy_json(const ClipCopy& copy) {
  Json json{{"destination", copy.destination}};
  put_name(json, "path", copy.path.string());
  json["state"] = to_string(copy.state);
  json["verified_at"] = moment_or_null(copy.verified_at);
  return json;
}

}  // namespace

Json clip_json(const Clip& clip, const Plan& plan) {
  Json json{{"id", clip.id.value}, {"roll", clip.roll}};
  put_name(json, "name", clip.name);
  put_name(json, "path", clip.path.string());
  json["size_bytes"] = clip.size;
  json["xxh128"] = clip.digest ? Json(clip.digest->hex()) : Json();
  put_facts(json, clip.facts);
  json["on_screen_s"] = seconds_or_null(on_screen(clip, plan.frame_rate));
  put_judgement(json, clip.judgement);
  json["members"] = clip.members;
  json["sections"] = clip.sections;
  json["look"] = maybe(clip.look);
  json["angle"] = maybe(clip.angle);
  json["rating"] = maybe(clip.rating);
  json["note"] = maybe(clip.note);
  json["song"] = song_json(clip, plan);
  json["copies"] = Json::array();
  for (const auto& copy : clip.copies) json["copies"].push_back(copy_json(copy));
  json["problems"] = Json::array();
  for (const auto& problem : clip.facts.problems)
    json["problems"].push_back({{"code", to_string(problem.code)}, {"message", problem.message}});
  json["origin"] = clip.facts.origin;
  return json;
}

}  // namespace everytake::exports
