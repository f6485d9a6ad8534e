#include "media/metadata/maker_notes.h"

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <iterator>
#include <span>
#include <vector>

#include "base/text.h"
#include "media/container/boxes.h"
#include "media/metadata/messages.h"
#include "media/metadata/tiff.h"

namespace everytake::media {
namespace {

// Exif 2.32.
constexpr int kExifDirectory = 0x8769, kMakerNote = 0x927C;
constexpr int kExposureTime = 0x829A, kSensitivity = 0x8827, kLensModel = 0xA434;

std::optional<Tiff::Entry> in_exif(const Tiff& tiff, int tag) {
  const auto exif = tiff.find(tiff.first_directory(), kExifDirectory);
  const auto directory = exif ? tiff.number(*exif) : std::nullopt;
  return directory ? tiff.find(static_cast<std::uint32_t>(*directory), tag) : std::nullopt;
}

std::optional<std::string> text(std::string_view value) {
  value = value.substr(0, value.find('\0'));
  while (value.ends_with(' ')) value.remove_suffix(1);
  return !value.empty() && is_utf8(value) ? std::optional(std::string(value)) : std::nullopt;
}

// What every maker writes alike.
SourceMetadata exif_metadata(const Tiff& tiff) {
  SourceMetadata metadata{.origin = "maker's notes"};
  if (const auto time = in_exif(tiff, kExposureTime)) metadata.shutter = tiff.fraction(*time);
  if (const auto entry = in_exif(tiff, kSensitivity))
    if (const auto iso = positive(tiff.number(*entry).value_or(0)); iso != kIsoOrMore) metadata.iso = iso;
  if (const auto lens = in_exif(tiff, kLensModel)) metadata.lens = text(lens->value);
  return metadata;
}

// The Exif of a still that a box carries: its position differs between cameras.
std::optional<Tiff> still_in(std::string_view content) {
  constexpr std::string_view kExif("Exif\0\0", 6);
  const auto exif = content.find(kExif);
  return exif == std::string_view::npos ? std::nullopt : Tiff::open(content.substr(exif + kExif.size()));
}

// Where the schemas of `djmd` messages differ. All have the schema's name in 1.1.1, the camera's in 1.1.10, the kind of
// the video in 2.3.7, and of the frame in 3.2.3.1 the exposure index, in 3.2.4.1 the shutter, in 3.2.6.1 the white
// balance. The numbers are those that the open-source library telemetry-parser publishes (its .proto files) and
// ExifTool's tag tables.
struct Schema {
  std::string_view name;
  std::vector<int> colour;       // the message of the colour mode; empty where it is not known to have one
  std::vector<int> sensor_rate;  // pictures a second that the sensor took; the same
};
const Schema* schema_named(std::string_view name) {
  static const Schema kSchemas[] = {
      {"dvtm_wm169.proto", {}, {1, 11, 1}},
      {"dvtm_eagle4_wa530.proto", {2, 2, 4}, {1, 9, 1}},
      {"dvtm_oq101.proto", {2, 4}, {1, 11, 1}},
      {"dvtm_AVATA360.proto", {}, {1, 9, 1}},
      {"dvtm_ac203.proto", {}, {}},
      {"dvtm_ac204.proto", {}, {}},
      {"dvtm_ac206.proto", {}, {}},
  };
  const auto* found =
      std::find_if(std::begin(kSchemas), std::end(kSchemas), [name](const Schema& each) { return each.name == name; });
  return found == std::end(kSchemas) ? nullptr : found;
}

std::optional<MessageField> field_of(std::string_view message, std::span<const int> path, MessageField::Kind kind) {
  const auto field = path.empty() ? std::nullopt : find_field(message, path);
  return field && field->kind == kind ? field : std::nullopt;
}

std::optional<float> float_of(std::string_view message, std::span<const int> path) {
  const auto field = field_of(message, path, MessageField::Kind::four_bytes);
  if (!field) return std::nullopt;
  const auto value = std::bit_cast<float>(static_cast<std::uint32_t>(field->number));
  return std::isfinite(value) ? std::optional(value) : std::nullopt;
}

// A message of the colour mode without a number means its first (proto3's default): a picture as it is shown, and
// which curve that is isn't said.
const char* colour_mode(std::string_view message, std::span<const int> path) {
  const auto mode = field_of(message, path, MessageField::Kind::bytes);
  const auto number = mode ? field_of(mode->bytes, std::array{1}, MessageField::Kind::number) : std::nullopt;
  switch (number ? number->number : 0) {
    case 1:
      return "d-cinelike";
    case 2:
      return "d-log";
    case 9:
      return "hlg";
    case 19:
      return "d-log-m";
    case 22:
      return "d-log2";
    default:
      return nullptr;
  }
}

// The sensor's rate is measured, a camera's rates are whole multiples of the file's: 119.9 of 29.97 is 4 times it. A
// sensor may also be read oftener than it records: that many are believed of slow motion alone.
std::optional<Rational> capture_rate(float measured, Rational file_rate, bool slow_motion) {
  const double times = measured / file_rate.value(), whole = std::round(times);
  const double most = slow_motion ? 100 : 1;
  if (whole < 1 || whole > most || std::abs(times - whole) > 0.01 * whole) return std::nullopt;
  return file_rate * Rational(static_cast<std::int64_t>(whole), 1);
}

}  // namespace

SourceMetadata canon_metadata(std::string_view content) {
  constexpr std::string_view kId("\x85\xC0\xB6\x87\x82\x0F\x11\xE0\x81\x11\xF4\xCE\x46\x2B\x6A\x48", 16);
  constexpr int kLogInfo = 0x4026;
  const auto still = content.starts_with(kId) ? content.find("CNDA") : std::string_view::npos;
  const auto tiff = still == std::string_view::npos ? std::nullopt : still_in(content.substr(still));
  if (!tiff) return {};
  SourceMetadata metadata = exif_metadata(*tiff);
  const auto notes = in_exif(*tiff, kMakerNote);
  const auto log = notes ? tiff->find(notes->where, kLogInfo) : std::nullopt;
  if (!log) return metadata;
  switch (tiff->number(*log, 11).value_or(0)) {
    case 1:
      metadata.gamma = "c-log";
      break;
    case 2:
      metadata.gamma = "c-log2";
      break;
    case 3:
      metadata.gamma = "c-log3";
      break;
    default:
      return metadata;  // off: which curve it is then is not said
  }
  switch (tiff->number(*log, 9).value_or(-1)) {
    case 0:
      metadata.gamut = "rec709";
      break;
    case 1:
      metadata.gamut = "rec2020";
      break;
    case 2:
      metadata.gamut = "cinema-gamut";
      break;
    default:
      break;
  }
  return metadata;
}

SourceMetadata fujifilm_metadata(std::string_view content) {
  constexpr std::size_t kDirectoriesAt = 16;
  constexpr std::uint32_t kNotesDirectoryAt = 12;  // in the notes, after the maker's name and this number
  constexpr int kRecordingMode = 0x3803;
  if (content.size() <= kDirectoriesAt) return {};
  const auto tiff = Tiff::bare_little_endian(content.substr(kDirectoriesAt));
  SourceMetadata metadata = exif_metadata(tiff);
  const auto notes = in_exif(tiff, kMakerNote);
  if (!notes || !notes->value.starts_with("FUJIFILM")) return metadata;
  const auto mode = tiff.find(notes->where + kNotesDirectoryAt, kRecordingMode);
  switch (mode ? tiff.number(*mode).value_or(0) : 0) {
    case 0x10:
      metadata.gamma = "f-log";
      break;
    case 0x20:
      metadata.gamma = "hlg";
      break;
    case 0x30:
      metadata.gamma = "f-log2";
      break;
    default:
      break;
  }
  return metadata;
}

SourceMetadata panasonic_metadata(std::string_view content) {
  constexpr std::uint32_t kNotesDirectoryAt = 12;  // in the notes, after the maker's name
  constexpr int kPhotoStyle = 0x89, kVLog = 17;
  const auto tiff = still_in(content);
  if (!tiff) return {};
  SourceMetadata metadata = exif_metadata(*tiff);
  const auto notes = in_exif(*tiff, kMakerNote);
  if (!notes || !notes->value.starts_with("Panasonic")) return metadata;
  const auto style = tiff->find(notes->where + kNotesDirectoryAt, kPhotoStyle);
  if (style && tiff->number(*style) == kVLog) metadata.gamma = "v-log";
  return metadata;
}

SourceMetadata nikon_metadata(std::string_view content, std::optional<Rational> file_rate) {
  enum : std::uint64_t { kModel = 2, kRate = 0x16, kRecordRate = 0x17, kExif = 0x1100000 };  // plus the tag of Exif
  SourceMetadata metadata{.origin = "maker's notes"};
  std::optional<Rational> rate, record_rate;
  for (std::size_t at = 0; at + 8 <= content.size();) {
    const auto tag = big_endian(content, at, 4);
    const auto of_one = Tiff::size_of_type(static_cast<int>(big_endian(content, at + 4, 2)));
    const std::size_t size = of_one * big_endian(content, at + 6, 2);
    at += 8;
    if (of_one == 0 || size > content.size() - at) break;
    const auto value = content.substr(at, size);
    if (tag == kModel) metadata.camera = text(value);
    if (tag == kRate) rate = big_endian_fraction(value);
    if (tag == kRecordRate) record_rate = big_endian_fraction(value);
    if (tag == kExif + kExposureTime) metadata.shutter = big_endian_fraction(value);
    if (tag == kExif + kLensModel) metadata.lens = text(value);
    at += size;
  }
  if (file_rate && rate && record_rate) {
    if (*rate == *file_rate)
      metadata.capture_rate = record_rate;
    else if (*record_rate == *file_rate)
      metadata.capture_rate = rate;
  }
  return metadata;
}

SourceMetadata gopro_metadata(std::string_view content) {
  SourceMetadata metadata{.origin = "maker's notes"};
  bool in_steps = false;
  for (std::size_t at = 0; at + 8 <= content.size();) {
    const auto name = content.substr(at, 4);
    const bool nested = content[at + 4] == '\0';
    const std::size_t size = big_endian(content, at + 5, 1) * big_endian(content, at + 6, 2);
    at += 8;
    if (nested) continue;  // its values follow it
    if (size > content.size() - at) break;
    const auto value = content.substr(at, size);
    if (name == "PTCL" && text(value) == "FLAT") metadata.gamma = "flat";
    if (name == "MINF") metadata.camera = text(value);
    if (name == "VFPS") metadata.capture_rate = big_endian_fraction(value);
    if (name == "RATE") in_steps = true;
    at += (size + 3) / 4 * 4;
  }
  if (in_steps) metadata.capture_rate = std::nullopt;  // a frame now and then, at whatever rate they play
  return metadata;
}

SourceMetadata dji_metadata(std::string_view sample, std::optional<Rational> file_rate) {
  const auto name = field_of(sample, std::array{1, 1, 1}, MessageField::Kind::bytes);
  const auto* schema = name ? schema_named(name->bytes) : nullptr;
  if (!schema) return {};
  SourceMetadata metadata{.origin = "timed metadata"};
  if (const auto camera = field_of(sample, std::array{1, 1, 10}, MessageField::Kind::bytes))
    metadata.camera = text(camera->bytes);
  if (const auto iso = float_of(sample, std::array{3, 2, 3, 1}); iso && *iso > 0 && *iso < kIsoOrMore)
    metadata.iso = positive(std::llround(*iso));
  if (const auto shutter = field_of(sample, std::array{3, 2, 4, 1}, MessageField::Kind::bytes))
    if (const auto time = packed_numbers(shutter->bytes); time.size() == 2)
      metadata.shutter = positive_fraction(static_cast<std::int64_t>(time[0]), static_cast<std::int64_t>(time[1]));
  if (const auto balance = field_of(sample, std::array{3, 2, 6, 1}, MessageField::Kind::number))
    metadata.white_balance = positive(static_cast<std::int64_t>(balance->number));
  if (const char* curve = colour_mode(sample, schema->colour)) metadata.gamma = curve;
  if (metadata.gamma == "d-log") metadata.gamut = "d-gamut";
  constexpr std::uint64_t kSlowMotion = 2;
  const auto kind = field_of(sample, std::array{2, 3, 7}, MessageField::Kind::number);
  const auto rate = float_of(sample, schema->sensor_rate);
  if (rate && file_rate) metadata.capture_rate = capture_rate(*rate, *file_rate, kind && kind->number == kSlowMotion);
  return metadata;
}

}  // namespace everytake::media
