#include "media/metadata/sidecar.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cstdlib>
#include <pugixml.hpp>

#include "base/text.h"

namespace everytake::media {
namespace {

constexpr std::size_t kLargest = 1 << 20;  // bytes; real ones are 2 to 8 kB
constexpr std::size_t kLongestName = 200;

std::string_view local_name(std::string_view name) {
  const auto colon = name.rfind(':');
  return colon == std::string_view::npos ? name : name.substr(colon + 1);
}

// The first child of that name, whatever its namespace and version. Reading on from no node gives no node.
pugi::xml_node child(const pugi::xml_node& parent, std::string_view name) {
  return parent.find_child([name](const pugi::xml_node& node) { return local_name(node.name()) == name; });
}

std::optional<std::string> trimmed(std::string_view text) {
  constexpr std::string_view kSpace = " \t\r\n";
  const auto first = text.find_first_not_of(kSpace);
  if (first == std::string_view::npos) return std::nullopt;
  text = text.substr(first, text.find_last_not_of(kSpace) - first + 1);
  if (text.size() > kLongestName || !is_utf8(text)) return std::nullopt;
  return std::string(text);
}

std::optional<std::string> text_of(const pugi::xml_node& node, const char* attribute) {
  return trimmed(node.attribute(attribute).value());
}

std::optional<std::string> lower(const std::optional<std::string>& text) {
  return text ? std::optional(lower_case(*text)) : std::nullopt;
}

std::optional<std::string> lower_text_of(const pugi::xml_node& node, const char* attribute) {
  return lower(text_of(node, attribute));
}

std::optional<std::int64_t> number_of(const pugi::xml_node& node, const char* attribute) {
  const auto text = text_of(node, attribute);
  std::int64_t value = 0;
  if (!text) return std::nullopt;
  const auto [end, error] = std::from_chars(text->data(), text->data() + text->size(), value);
  if (error != std::errc{} || end != text->data() + text->size() || value < 0) return std::nullopt;
  return value;
}

std::optional<int> small_number_of(const pugi::xml_node& node, const char* attribute) {
  const auto value = number_of(node, attribute);
  return value && *value < 1'000'000 ? std::optional(static_cast<int>(*value)) : std::nullopt;
}

std::optional<Rational> rate_of(const pugi::xml_node& node, const char* attribute) {
  const auto text = text_of(node, attribute);
  return text ? parse_rate(*text) : std::nullopt;
}

// Some writers put the label itself where the time bytes belong.
std::optional<LtcTime> ltc_of(const pugi::xml_node& change, int base) {
  const auto text = text_of(change, "value");
  if (!text) return std::nullopt;
  if (text->find(':') == std::string::npos) return parse_ltc(*text, base);
  const bool drop = text->find(';') != std::string::npos;
  const auto label = parse_timecode(*text, drop ? Rational(base * 1000, 1001) : Rational(base, 1));
  return label ? std::optional(LtcTime{*label, false}) : std::nullopt;
}

void take_timecode(const pugi::xml_node& table, Sidecar& sidecar) {
  sidecar.ltc_base = small_number_of(table, "tcFps");
  sidecar.half_step = lower_text_of(table, "halfStep") == "true";
  if (!sidecar.ltc_base || *sidecar.ltc_base <= 0 || *sidecar.ltc_base > 120) return;
  int changes = 0;
  for (const auto& change : table.children()) {
    if (local_name(change.name()) != "LtcChange") continue;
    ++changes;
    if (number_of(change, "frameCount") == 0) sidecar.first = ltc_of(change, *sidecar.ltc_base);
    if (lower_text_of(change, "status") == "end") sidecar.last = ltc_of(change, *sidecar.ltc_base);
  }
  if (changes != 2) sidecar.last = std::nullopt;  // the timecode jumped: its end says nothing of the length
}

void take_acquisition(const pugi::xml_node& record, Sidecar& sidecar) {
  for (const auto& group : record.children()) {
    if (local_name(group.name()) != "Group") continue;
    for (const auto& item : group.children()) {
      const auto name = text_of(item, "name");
      if (name == "CaptureGammaEquation") sidecar.gamma = lower_text_of(item, "value");
      if (name == "CaptureColorPrimaries") sidecar.gamut = lower_text_of(item, "value");
    }
  }
}

bool counts_other_frames(const ClipFacts& facts, const Sidecar& sidecar) {
  return facts.frames && sidecar.frames && std::abs(*facts.frames - *sidecar.frames) > 1;
}

bool has_another_rate(const ClipFacts& facts, const Sidecar& sidecar) {
  return facts.frame_rate && sidecar.format_rate && *facts.frame_rate != *sidecar.format_rate;
}

// The label of the file's first frame. nullopt where the timecode counts so that no label of the file fits.
std::optional<Timecode> first_label(const ClipFacts& facts, const Sidecar& sidecar) {
  const auto rate = facts.frame_rate ? facts.frame_rate : sidecar.format_rate;
  if (!sidecar.first || !sidecar.ltc_base || !rate) return std::nullopt;
  const int base = counting_base(*rate);
  if (base != *sidecar.ltc_base && (!sidecar.half_step || base % *sidecar.ltc_base != 0)) return std::nullopt;
  const Timecode label = at_file_rate(*sidecar.first, *sidecar.ltc_base, *rate);
  return parse_timecode(to_string(label, *rate), *rate);  // it must exist
}

class Applying {
 public:
  Applying(ClipFacts& facts, const std::string& origin) : facts_(facts), origin_(origin) {}

  // A value of the sidecar goes before the container's, never before an earlier sidecar's.
  template <class T>
  void take(const char* field, std::optional<T>& into, const std::optional<T>& value) {
    if (!value) return;
    const auto known = facts_.origin.find(field);
    if (into && known != facts_.origin.end() && !known->second.starts_with("container")) return;
    into = value;
    facts_.origin[field] = origin_;
  }

 private:
  ClipFacts& facts_;
  const std::string& origin_;
};

// What the sidecar's timecode spans beside what it should.
bool span_disagrees(const Sidecar& sidecar) {
  if (!sidecar.first || !sidecar.last || !sidecar.frames || !sidecar.format_rate || !sidecar.ltc_base) return false;
  if (sidecar.capture_rate && sidecar.capture_rate != sidecar.format_rate) return false;  // may count either
  const int base = counting_base(*sidecar.format_rate);
  if (base % *sidecar.ltc_base != 0) return false;
  const std::int64_t each = base / *sidecar.ltc_base;
  const bool drop = sidecar.first->label.drop;
  const Rational ltc_rate = drop ? Rational(*sidecar.ltc_base * 1000, 1001) : Rational(*sidecar.ltc_base, 1);
  std::int64_t span = frame_count(sidecar.last->label, ltc_rate) - frame_count(sidecar.first->label, ltc_rate);
  const std::int64_t day = frames_a_day(ltc_rate, drop);
  span = ((span % day) + day) % day;
  return std::abs(span * each - (*sidecar.frames - 1)) > each;
}

Result<void> load(pugi::xml_document& document, std::string_view xml) {
  if (xml.size() > kLargest) return fail(Code::corrupt, "it is larger than 1 MiB");
  const auto parsed = document.load_buffer(xml.data(), xml.size(), pugi::parse_default);
  if (!parsed) return fail(Code::corrupt, fmt::format("byte {}: {}", parsed.offset, parsed.description()));
  return {};
}

}  // namespace

Result<Sidecar> parse_sidecar(std::string_view xml) {
  if (xml.size() > kLargest) return fail(Code::corrupt, "the sidecar is larger than 1 MiB");
  pugi::xml_document document;
  const auto parsed = document.load_buffer(xml.data(), xml.size(), pugi::parse_default);
  if (!parsed)
    return fail(Code::corrupt, fmt::format("byte {} of the sidecar: {}", parsed.offset, parsed.description()));
  const auto root = child(document, "NonRealTimeMeta");
  if (!root) return fail(Code::unsupported, "it is of a kind not known here");

  Sidecar sidecar;
  sidecar.umid = text_of(child(root, "TargetMaterial"), "umidRef");
  sidecar.frames = number_of(child(root, "Duration"), "value");
  const auto format = child(root, "VideoFormat");
  sidecar.capture_rate = rate_of(child(format, "VideoFrame"), "captureFps");
  sidecar.format_rate = rate_of(child(format, "VideoFrame"), "formatFps");
  sidecar.width = small_number_of(child(format, "VideoLayout"), "pixel");
  sidecar.height = small_number_of(child(format, "VideoLayout"), "numOfVerticalLine");
  sidecar.channels = small_number_of(child(root, "AudioFormat"), "numOfChannel");
  sidecar.camera = text_of(child(root, "Device"), "modelName");
  sidecar.lens = text_of(child(root, "Lens"), "modelName");
  if (const auto date = text_of(child(root, "CreationDate"), "value")) sidecar.recorded_at = parse_iso8601(*date);
  take_timecode(child(root, "LtcChangeTable"), sidecar);
  take_acquisition(child(root, "AcquisitionRecord"), sidecar);
  return sidecar;
}

bool apply(ClipFacts& facts, const Sidecar& sidecar, const Path& path, const std::string& origin) {
  const auto trouble = [&](ProblemCode code, const std::string& message) {
    facts.problems.push_back({code, path.string(), "", shown(path.filename().string()) + " " + message});
  };
  if (counts_other_frames(facts, sidecar) || has_another_rate(facts, sidecar)) {
    const auto frames = [](const std::optional<std::int64_t>& n) {
      return n ? std::to_string(*n) : "an unknown number";
    };
    const auto rate = [](const std::optional<Rational>& r) { return r ? fmt::format("{:.3f}", r->value()) : "?"; };
    trouble(
        ProblemCode::sidecar_of_another_clip,
        fmt::format("is about {} frames at {} a second, the clip has {} at {}: nothing of it was used. Was the clip "
                    "renamed?",
                    frames(sidecar.frames), rate(sidecar.format_rate), frames(facts.frames), rate(facts.frame_rate)));
    return false;
  }
  if (facts.frames && sidecar.frames && *facts.frames != *sidecar.frames)
    trouble(ProblemCode::sidecar_disagrees,
            fmt::format("counts {} frames, the clip {}: the clip was believed", *sidecar.frames, *facts.frames));
  if (span_disagrees(sidecar)) trouble(ProblemCode::sidecar_disagrees, "has a timecode that does not span its frames");

  Applying applying(facts, origin);
  applying.take("capture_rate", facts.capture_rate, sidecar.capture_rate);
  applying.take("gamma", facts.gamma, sidecar.gamma);
  applying.take("gamut", facts.gamut, sidecar.gamut);
  applying.take("camera", facts.camera, sidecar.camera);
  applying.take("lens", facts.lens, sidecar.lens);
  applying.take("recorded_at", facts.recorded_at, sidecar.recorded_at);
  const auto label = first_label(facts, sidecar);
  if (!label) return true;
  const auto rate = facts.frame_rate ? *facts.frame_rate : *sidecar.format_rate;
  applying.take("timecode", facts.timecode, std::optional(to_string(*label, rate)));
  applying.take("drop_frame", facts.drop_frame, std::optional(label->drop));
  return true;
}

Result<SourceMetadata> parse_clip_metadata(std::string_view xml) {
  pugi::xml_document document;
  TRY(load(document, xml));
  auto node = child(document, "ClipMain");
  if (!node) return fail(Code::unsupported, "it is of a kind not known here");
  // The path below ClipMain has one level more in some versions.
  if (const auto content = child(node, "ClipContent"); !child(node, "UserArea") && content) node = content;
  const auto unit = child(child(child(node, "UserArea"), "AcquisitionMetadata"), "CameraUnitMetadata");
  SourceMetadata metadata{.origin = "notes in the file"};
  metadata.gamma = lower(trimmed(child(child(unit, "Gamma"), "CaptureGamma").child_value()));
  metadata.gamut = lower(trimmed(child(child(unit, "Gamut"), "CaptureGamut").child_value()));
  metadata.iso = positive(std::string_view(child(unit, "ISOSensitivity").child_value()));
  metadata.white_balance = positive(std::string_view(child(unit, "WhiteBalanceColorTemperature").child_value()));
  return metadata;
}

}  // namespace everytake::media
