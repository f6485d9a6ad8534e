#include "support/maker_boxes.h"

#include <bit>

#include "support/media_boxes.h"
#include "support/rooms.h"

namespace everytake::test {
namespace {

constexpr int kAscii = 2, kShort = 3, kLong = 4, kRational = 5, kUndefined = 7, kSignedLong = 9;  // TIFF 6.0
constexpr int kMake = 0x10F, kExif = 0x8769, kMakerNote = 0x927C;                                 // Exif 2.32

std::uint64_t unsigned_of(std::int64_t value) {
  return static_cast<std::uint64_t>(value);
}

std::uint32_t size_of(const std::vector<Field>& fields) {
  std::size_t size = 2 + 12 * fields.size() + 4;
  for (const auto& field : fields) size += field.value.size() > 4 ? field.value.size() : 0;
  return static_cast<std::uint32_t>(size);
}

// As a still that carries it: one without a picture.
std::string still(const std::string& tiff) {
  return std::string("\xFF\xD8\xFF\xE1", 4) + big(tiff.size() + 8, 2) + std::string("Exif\0\0", 6) + tiff + "\xFF\xD9";
}

std::string fraction(Rational value) {
  return big(unsigned_of(value.num()), 4) + big(unsigned_of(value.den()), 4);
}

std::string record(std::uint32_t tag, int type, int count, const std::string& value) {
  return big(tag, 4) + big(unsigned_of(type), 2) + big(unsigned_of(count), 2) + value;
}

std::string named_value(const std::string& name, char type, std::size_t size, std::size_t repeat, std::string value) {
  while (value.size() % 4 != 0) value += '\0';
  return name + type + big(size, 1) + big(repeat, 2) + value;
}

}  // namespace

Field short_field(int tag, int value) {
  return {tag, kShort, 1, little(unsigned_of(value), 2)};
}
Field text_field(int tag, const std::string& text) {
  return {tag, kAscii, static_cast<std::uint32_t>(text.size() + 1), text + '\0'};
}
Field fraction_field(int tag, Rational value) {
  return {tag, kRational, 1, little(unsigned_of(value.num()), 4) + little(unsigned_of(value.den()), 4)};
}

std::string directory(std::uint32_t at, const std::vector<Field>& fields) {
  std::string entries = little(fields.size(), 2), values;
  const std::size_t values_at = at + 2 + 12 * fields.size() + 4;
  for (const auto& field : fields) {
    entries += little(unsigned_of(field.tag), 2) + little(unsigned_of(field.type), 2) + little(field.count, 4);
    if (field.value.size() <= 4) {
      entries += field.value + std::string(4 - field.value.size(), '\0');
    } else {
      entries += little(values_at + values.size(), 4);
      values += field.value;
    }
  }
  return entries + little(0, 4) + values;
}

std::string tiff(const std::string& maker, std::vector<Field> exif,
                 const std::function<std::string(std::uint32_t at)>& notes, bool bare) {
  const std::string header = bare ? "" : "II" + little(42, 2) + little(8, 4);
  const auto first_at = static_cast<std::uint32_t>(header.size());
  std::vector<Field> first{text_field(kMake, maker), {kExif, kLong, 1, std::string(4, '\0')}};
  const std::uint32_t exif_at = first_at + size_of(first);
  first.back().value = little(exif_at, 4);
  const std::uint32_t notes_at = exif_at + size_of(exif) + 12;  // one entry more, and its value behind all others
  const auto written = notes(notes_at);
  exif.push_back({kMakerNote, kUndefined, static_cast<std::uint32_t>(written.size()), written});
  return header + directory(first_at, first) + directory(exif_at, exif);
}

std::vector<Field> exposure() {
  return {fraction_field(0x829A, Rational(1, 50)), short_field(0x8827, 800)};
}

std::string canon_box(int space, int version) {
  std::string numbers;  // of the log information: place 9 is the colour space, place 11 the log's version
  for (int i = 0; i < 12; ++i) numbers += little(unsigned_of(i == 9 ? space : i == 11 ? version : i == 0 ? 48 : 0), 4);
  const auto bytes = tiff("Canon", exposure(), [&](std::uint32_t at) {
    return directory(at, {{0x4026, kSignedLong, 12, numbers}});
  });
  const std::string id("\x85\xC0\xB6\x87\x82\x0F\x11\xE0\x81\x11\xF4\xCE\x46\x2B\x6A\x48", 16);
  return id + box("CNTH", box("CNDA", still(bytes)));
}

std::string fujifilm_box(int recording_mode) {
  const auto bytes = tiff(
      "FUJIFILM", exposure(),
      [&](std::uint32_t) {  // its places count from the notes' own beginning
        return "FUJIFILM" + little(12, 4) + directory(12, {{0x3803, kLong, 1, little(unsigned_of(recording_mode), 4)}});
      },
      true);
  return std::string(16, '\0') + bytes;
}

std::string panasonic_box(int photo_style, int still_at) {
  const auto bytes = tiff("Panasonic", exposure(), [&](std::uint32_t at) {
    return std::string("Panasonic\0\0\0", 12) + directory(at + 12, {short_field(0x89, photo_style)});
  });
  return std::string(static_cast<std::size_t>(still_at), '\0') + still(bytes);
}

std::string nikon_box(Rational rate, Rational record_rate) {
  const std::string model = "L-1";
  return record(2, kAscii, 4, model + '\0') + record(0x16, kRational, 1, fraction(rate)) +
         record(0x17, kRational, 1, fraction(record_rate)) +
         record(0x110829A, kRational, 1, fraction(Rational(1, 50))) +
         record(0x110A434, kAscii, 8, std::string("35mm F2\0", 8)) + record(0x1001, kShort, 1, big(0, 2));
}

std::string gopro_box(const std::string& colour, Rational rate) {
  const std::string values = named_value("MINF", 'c', 1, 3, "L-1") +
                             named_value("PTCL", 'c', 1, colour.size(), colour) +
                             named_value("VFPS", 'L', 4, 2, fraction(rate));
  return named_value("DEVC", '\0', 1, values.size(), "") + values;
}

std::string djmd_sample(const Djmd& what) {
  const auto inside = [](int field, const std::string& bytes) {
    return std::string{static_cast<char>(field << 3 | 2), static_cast<char>(bytes.size())} + bytes;
  };
  const auto number = [](int field, int value) {
    return std::string{static_cast<char>(field << 3), static_cast<char>(value)};
  };
  const auto real = [](float value) { return "\x0D" + little(std::bit_cast<std::uint32_t>(value), 4); };  // field 1
  const std::string header = inside(1, what.schema) + inside(10, "L-1");
  const std::string clip = inside(1, header) + inside(what.rate_at, real(what.sensor_rate));
  std::string colour = what.colour_mode ? (*what.colour_mode == 0 ? "" : number(1, *what.colour_mode)) : "";
  for (auto at = what.colour_at.rbegin(); at + 1 != what.colour_at.rend(); ++at)
    if (what.colour_mode) colour = inside(*at, colour);
  const std::string video = what.slow_motion ? inside(3, number(7, 2)) : "";
  const std::string camera = inside(3, real(800)) + inside(4, inside(1, "\x01\x32")) + inside(6, "\x08\xE0\x2B");
  const bool colour_first = what.colour_at.size() > 2;  // fields stand in the order of their numbers
  const std::string stream = colour_first ? colour + video : video + colour;
  return inside(1, clip) + inside(2, stream) + inside(3, inside(2, camera));
}

}  // namespace everytake::test
