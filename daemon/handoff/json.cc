#include "handoff/json.h"

#include "base/text.h"

namespace everytake {
namespace {

template <class T, class F>
Json maybe(const std::optional<T>& value, F text) {
  return value ? Json(text(*value)) : Json(nullptr);
}

Json names(const std::vector<std::string>& all) {
  Json json = Json::array();
  for (const auto& name : all) json.push_back(name);
  return json;
}

Json song_json(const Placement& placement) {
  const bool placed = placement.state == Placement::State::placed;
  Json json;
  json["state"] = to_string(placement.state);
  json["start_s"] = placed ? Json(seconds(placement.start)) : Json(nullptr);
  json["speed"] = placed ? Json(placement.speed) : Json(nullptr);
  json["drift_ppm"] = placed ? Json(placement.drift_ppm) : Json(nullptr);
  json["confidence"] = everytake::maybe(placement.confidence);
  json["spans"] = Json::array();
  for (const auto& span : placement.spans) json["spans"].push_back({seconds(span.start), seconds(span.end)});
  json["candidates"] = Json::array();
  for (const auto& each : placement.candidates)
    json["candidates"].push_back({{"start_s", seconds(each.start)}, {"confidence", each.confidence}});
  return json;
}

Json copies_json(const std::vector<ClipCopy>& copies) {
  Json json = Json::array();
  for (const auto& copy : copies) {
    Json each;
    put_name(each, "destination", copy.destination);
    put_name(each, "path", copy.path.string());
    each["state"] = to_string(copy.state);
    each["verified_at"] = maybe(copy.verified_at, iso8601);
    json.push_back(std::move(each));
  }
  return json;
}

Json problems_json(const std::vector<Problem>& problems) {
  Json json = Json::array();
  for (const auto& problem : problems) json.push_back({{"code", problem.code}, {"message", problem.message}});
  return json;
}

void put_facts(Json& json, const ClipFacts& facts) {
  const auto rate = [](const Rational& r) { return to_string(r); };
  json["duration_s"] = maybe(facts.duration, seconds);
  json["frames"] = everytake::maybe(facts.frames);
  json["frame_rate"] = maybe(facts.frame_rate, rate);
  json["capture_rate"] = maybe(facts.capture_rate, rate);
  json["slow_factor"] = maybe(slow_factor(facts), [](const Rational& r) { return r.value(); });
  json["width"] = everytake::maybe(facts.width);
  json["height"] = everytake::maybe(facts.height);
  json["rotation"] = everytake::maybe(facts.rotation);
  json["codec"] = everytake::maybe(facts.codec);
  json["bit_depth"] = everytake::maybe(facts.bit_depth);
  json["bit_rate"] = everytake::maybe(facts.bit_rate);
  json["gamma"] = everytake::maybe(facts.gamma);
  json["gamut"] = everytake::maybe(facts.gamut);
  json["timecode"] = everytake::maybe(facts.timecode);
  json["drop_frame"] = everytake::maybe(facts.drop_frame);
  json["recorded_at"] = maybe(facts.recorded_at, iso8601);
  json["camera"] = everytake::maybe(facts.camera);
  json["lens"] = everytake::maybe(facts.lens);
  json["audio"] = everytake::maybe(facts.audio);
}

}  // namespace

Json clip_json(const Clip& clip) {
  Json json;
  json["id"] = clip.id.value;
  json["roll"] = clip.roll;
  put_name(json, "name", clip.name);
  put_name(json, "path", clip.path.string());
  json["size_bytes"] = clip.size;
  json["xxh128"] = everytake::maybe(clip.digest);
  put_facts(json, clip.facts);
  json["kind"] = maybe(clip.judgement.kind, [](Kind kind) { return to_string(kind); });
  json["kind_by"] = clip.judgement.kind ? Json(to_string(clip.judgement.by)) : Json(nullptr);
  json["because"] = clip.judgement.because;
  json["members"] = names(clip.members);
  json["sections"] = names(clip.sections);
  json["look"] = everytake::maybe(clip.look);
  json["angle"] = everytake::maybe(clip.angle);
  json["rating"] = everytake::maybe(clip.rating);
  json["note"] = everytake::maybe(clip.note);
  json["song"] = song_json(clip.placement);
  json["copies"] = copies_json(clip.copies);
  json["problems"] = problems_json(clip.facts.problems);
  return json;
}

}  // namespace everytake
