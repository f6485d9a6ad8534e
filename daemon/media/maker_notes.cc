#include "media/maker_notes.h"

#include "media/tiff.h"

namespace everytake {
namespace {

constexpr int kExifDirectory = 0x8769, kMakerNote = 0x927C;  // Exif 2.32

std::optional<Tiff::Entry> maker_note(const Tiff& tiff) {
  const auto exif = tiff.find(tiff.first_directory(), kExifDirectory);
  const auto directory = exif ? tiff.number(*exif) : std::nullopt;
  return directory ? tiff.find(static_cast<std::uint32_t>(*directory), kMakerNote) : std::nullopt;
}

}  // namespace

Claim canon_claim(std::string_view content) {
  constexpr std::string_view kId("\x85\xC0\xB6\x87\x82\x0F\x11\xE0\x81\x11\xF4\xCE\x46\x2B\x6A\x48", 16);
  constexpr std::string_view kExif("Exif\0\0", 6);
  constexpr int kLogInfo = 0x4026;
  Claim claim{.origin = "maker's notes"};
  if (!content.starts_with(kId)) return claim;
  const auto still = content.find("CNDA");  // a picture that carries the notes
  const auto exif = still == std::string_view::npos ? still : content.find(kExif, still);
  const auto tiff = exif == std::string_view::npos ? std::nullopt : Tiff::open(content.substr(exif + kExif.size()));
  const auto notes = tiff ? maker_note(*tiff) : std::nullopt;
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
  Claim claim{.origin = "maker's notes"};
  if (content.size() <= kDirectoriesAt) return claim;
  const auto tiff = Tiff::bare_little_endian(content.substr(kDirectoriesAt));
  const auto notes = maker_note(tiff);
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

}  // namespace everytake
