#include "support/ffprobe.h"

#include <gtest/gtest.h>

#include <cmath>
#include <string>

#include "base/text.h"
#include "support/rooms.h"
#include "support/shell.h"

namespace everytake::test {
namespace {

using nlohmann::json;

double number(const json& object, const char* name) {
  const auto& value = object.at(name);
  return value.is_string() ? std::stod(value.get<std::string>()) : value.get<double>();
}

// The picture an editor would cut: no cover, and of several the largest.
json main_picture(const json& all) {
  json best = nullptr;
  for (const auto& stream : all.at("streams")) {
    if (stream.at("codec_type") != "video" || stream.at("disposition").at("attached_pic") == 1) continue;
    const auto pixels = [](const json& each) { return each.at("width").get<int>() * each.at("height").get<int>(); };
    if (best.is_null() || pixels(stream) > pixels(best)) best = stream;
  }
  return best;
}

// It counts counter-clockwise.
int clockwise(const json& picture) {
  for (const auto& side : picture.value("side_data_list", json::array()))
    if (side.contains("rotation")) return ((-side.at("rotation").get<int>() % 360) + 360) % 360;
  return 0;
}

std::string tag(const json& object, const char* name) {
  return object.value("tags", json::object()).value(name, "");
}

// It copies a timecode track's label to the picture; MXF has it on the file.
std::string timecode(const json& all, const json& picture) {
  const auto own = tag(picture, "timecode");
  return own.empty() ? tag(all.at("format"), "timecode") : own;
}

int depth(const json& picture) {
  const auto format = picture.at("pix_fmt").get<std::string>();
  return format.ends_with("10le") ? 10 : format.ends_with("12le") ? 12 : 8;
}

void expect_rate_agrees(const ClipFacts& facts, const json& picture) {
  const auto text = picture.at("avg_frame_rate").get<std::string>();
  if (text == "0/0") {  // it does not know either
    EXPECT_EQ(facts.frame_rate, std::nullopt);
    return;
  }
  const auto slash = text.find('/');
  const double rate = std::stod(text) / std::stod(text.substr(slash + 1));
  ASSERT_TRUE(facts.frame_rate);
  // Where the container's times are rounded, ffprobe computes a rate from them.
  EXPECT_NEAR(facts.frame_rate->value(), rate, 0.0002 * rate) << text;
}

}  // namespace

json ffprobe(const Path& file) {
  const auto ran = shell("ffprobe -v quiet -of json -show_format -show_streams " + quoted(file));
  return json::parse(ran.out, nullptr, false);
}

json stream_of(const json& all, const char* type) {
  for (const auto& stream : all.at("streams"))
    if (stream.at("codec_type") == type) return stream;
  return nullptr;
}

void expect_ffprobe_agrees(const ClipFacts& facts, const Path& file) {
  SCOPED_TRACE(file.string());
  const auto all = ffprobe(file);
  ASSERT_TRUE(all.is_object() && all.contains("streams"));
  const auto picture = main_picture(all);
  ASSERT_TRUE(picture.is_object());
  expect_rate_agrees(facts, picture);
  if (picture.contains("nb_frames")) {
    EXPECT_EQ(facts.frames, static_cast<std::int64_t>(number(picture, "nb_frames")));
  }
  const auto& timed = picture.contains("duration") ? picture : all.at("format");
  ASSERT_TRUE(facts.duration && facts.width && facts.height && facts.codec && facts.bit_depth && facts.bit_rate);
  EXPECT_NEAR(seconds(*facts.duration), number(timed, "duration"), 2e-6);
  EXPECT_EQ(facts.rotation, clockwise(picture));
  const bool lies = clockwise(picture) % 180 != 0;
  EXPECT_EQ(*facts.width, picture.at(lies ? "height" : "width"));
  EXPECT_EQ(*facts.height, picture.at(lies ? "width" : "height"));
  EXPECT_EQ(*facts.codec, picture.at("codec_name"));
  EXPECT_EQ(*facts.bit_depth, depth(picture));
  EXPECT_NEAR(static_cast<double>(*facts.bit_rate), number(all.at("format"), "bit_rate"), 2);
  EXPECT_EQ(facts.audio, stream_of(all, "audio").is_object());
  EXPECT_EQ(facts.timecode.value_or(""), timecode(all, picture));
  if (const auto created = tag(all.at("format"), "creation_time"); !created.empty()) {
    EXPECT_EQ(facts.recorded_at, parse_iso8601(created));
  }
}

}  // namespace everytake::test
