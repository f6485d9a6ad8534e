#include "media/maker_notes.h"

#include "base/text.h"
#include "media/boxes.h"
#include "media/tiff.h"

namespace everytake {
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
Claim exif_claim(const Tiff& tiff) {
  Claim claim{.origin = "maker's notes"};
  if (const auto time = in_exif(tiff, kExposureTime)) claim.shutter = tiff.fraction(*time);
  if (const auto entry = in_exif(tiff, kSensitivity))
    if (const auto iso = positive(tiff.number(*entry).value_or(0)); iso != kIsoOrMore) claim.iso = iso;
  if (const auto lens = in_exif(tiff, kLensModel)) claim.lens = text(lens->value);
  return claim;
}

// The Exif of a still that a box carries: its position differs between cameras.
std::optional<Tiff> still_in(std::string_view content) {
  constexpr std::string_view kExif("Exif\0\0", 6);
  const auto exif = content.find(kExif);
  return exif == std::string_view::npos ? std::nullopt : Tiff::open(content.substr(exif + kExif.size()));
}

}  // namespace

Claim canon_claim(std::string_view content) {
  constexpr std::string_view kId("\x85\xC0\xB6\x87\x82\x0F\x11\xE0\x81\x11\xF4\xCE\x46\x2B\x6A\x48", 16);
  constexpr int kLogInfo = 0x4026;
  const auto still = content.starts_with(kId) ? content.find("CNDA") : std::string_view::npos;
  const auto tiff = still == std::string_view::npos ? std::nullopt : still_in(content.substr(still));
  if (!tiff) return {};
  Claim claim = exif_claim(*tiff);
  const auto notes = in_exif(*tiff, kMakerNote);
  const auto log = notes ? tiff->find(notes->where, kLogInfo) : std::nullopt;
  if (!log) return claim;
  switch (tiff->number(*log, 11).value_or(0)) {
    case 1:
      claim.gamma = "c-log";
      break;
    case 2:
      claim.gamma = "c-log2";
      break;
    case 3:
      claim.gamma = "c-log3";
      break;
    default:
      return claim;  // off: which curve it is then is not said
  }
  switch (tiff->number(*log, 9).value_or(-1)) {
    case 0:
      claim.gamut = "rec709";
      break;
    case 1:
      claim.gamut = "rec2020";
      break;
    case 2:
      claim.gamut = "cinema-gamut";
      break;
    default:
      break;
  }
  return claim;
}

Claim fujifilm_claim(std::string_view content) {
  constexpr std::size_t kDirectoriesAt = 16;
  constexpr std::uint32_t kNotesDirectoryAt = 12;  // in the notes, after the maker's name and this number
  constexpr int kRecordingMode = 0x3803;
  if (content.size() <= kDirectoriesAt) return {};
  const auto tiff = Tiff::bare_little_endian(content.substr(kDirectoriesAt));
  Claim claim = exif_claim(tiff);
  const auto notes = in_exif(tiff, kMakerNote);
  if (!notes || !notes->value.starts_with("FUJIFILM")) return claim;
  const auto mode = tiff.find(notes->where + kNotesDirectoryAt, kRecordingMode);
  switch (mode ? tiff.number(*mode).value_or(0) : 0) {
    case 0x10:
      claim.gamma = "f-log";
      break;
    case 0x20:
      claim.gamma = "hlg";
      break;
    case 0x30:
      claim.gamma = "f-log2";
      break;
    default:
      break;
  }
  return claim;
}

Claim panasonic_claim(std::string_view content) {
  constexpr std::uint32_t kNotesDirectoryAt = 12;  // in the notes, after the maker's name
  constexpr int kPhotoStyle = 0x89, kVLog = 17;
  const auto tiff = still_in(content);
  if (!tiff) return {};
  Claim claim = exif_claim(*tiff);
  const auto notes = in_exif(*tiff, kMakerNote);
  if (!notes || !notes->value.starts_with("Panasonic")) return claim;
  const auto style = tiff->find(notes->where + kNotesDirectoryAt, kPhotoStyle);
  if (style && tiff->number(*style) == kVLog) claim.gamma = "v-log";
  return claim;
}

Claim nikon_claim(std::string_view content, std::optional<Rational> file_rate) {
  enum : std::uint64_t { kModel = 2, kRate = 0x16, kRecordRate = 0x17, kExif = 0x1100000 };  // plus the tag of Exif
  Claim claim{.origin = "maker's notes"};
  std::optional<Rational> rate, record_rate;
  for (std::size_t at = 0; at + 8 <= content.size();) {
    const auto tag = big_endian(content, at, 4);
    const auto of_one = Tiff::size_of_type(static_cast<int>(big_endian(content, at + 4, 2)));
    const std::size_t size = of_one * big_endian(content, at + 6, 2);
    at += 8;
    if (of_one == 0 || size > content.size() - at) break;
    const auto value = content.substr(at, size);
    if (tag == kModel) claim.camera = text(value);
    if (tag == kRate) rate = big_endian_fraction(value);
    if (tag == kRecordRate) record_rate = big_endian_fraction(value);
    if (tag == kExif + kExposureTime) claim.shutter = big_endian_fraction(value);
    if (tag == kExif + kLensModel) claim.lens = text(value);
    at += size;
  }
  if (file_rate && rate && record_rate) {
    if (*rate == *file_rate)
      claim.capture_rate = record_rate;
    else if (*record_rate == *file_rate)
      claim.capture_rate = rate;
  }
  return claim;
}

Claim gopro_claim(std::string_view content) {
  Claim claim{.origin = "maker's notes"};
  bool in_steps = false;
  for (std::size_t at = 0; at + 8 <= content.size();) {
    const auto name = content.substr(at, 4);
    const bool nested = content[at + 4] == '\0';
    const std::size_t size = big_endian(content, at + 5, 1) * big_endian(content, at + 6, 2);
    at += 8;
    if (nested) continue;  // its values follow it
    if (size > content.size() - at) break;
    const auto value = content.substr(at, size);
    if (name == "PTCL" && text(value) == "FLAT") claim.gamma = "flat";
    if (name == "MINF") claim.camera = text(value);
    if (name == "VFPS") claim.capture_rate = big_endian_fraction(value);
    if (name == "RATE") in_steps = true;
    at += (size + 3) / 4 * 4;
  }
  if (in_steps) claim.capture_rate = std::nullopt;  // a frame now and then, at whatever rate they play
  return claim;
}

}  // namespace everytake
