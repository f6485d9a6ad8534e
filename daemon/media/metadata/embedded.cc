#include "media/metadata/embedded.h"

#include <fmt/format.h>

#include <array>
#include <bit>

#include "media/container/boxes.h"
#include "media/metadata/maker_notes.h"
#include "media/metadata/mxf.h"
#include "media/metadata/timed_metadata.h"

namespace everytake::media {
namespace {

constexpr std::size_t kLargestXml = 1 << 20;
constexpr std::size_t kLargestSample = 64 * 1024;  // real ones of `rtmd` are up to 19456 bytes
constexpr std::size_t kLargestNotes = 256 * 1024;

template <std::size_t N>
Result<std::vector<Box>> find(ReadFile& file, const std::array<std::string_view, N>& path) {
  return find_boxes(file, path);
}

Result<std::optional<Sidecar>> embedded_sidecar(ReadFile& file) {
  for (const auto& boxes : {TRY(find(file, std::array<std::string_view, 2>{"meta", "xml "})),
                            TRY(find(file, std::array<std::string_view, 3>{"moov", "meta", "xml "}))})
    for (const auto& box : boxes) {
      const auto text = TRY(read_bytes(file, box.content + 4, box.end, kLargestXml));  // past version and flags
      if (auto sidecar = parse_sidecar(std::string_view(text).substr(0, text.find('\0')))) return std::move(*sidecar);
    }
  return std::nullopt;
}

const std::string* tag(const Container& container, const char* name) {
  const auto found = container.tags.find(name);
  return found == container.tags.end() || found->second.empty() ? nullptr : &found->second;
}

const Stream* picture_of(const Container& container) {
  const auto at = static_cast<std::size_t>(container.main_video);
  return container.main_video < 0 ? nullptr : &container.streams[at];
}

std::optional<Rational> file_rate(const Container& container) {
  const auto* picture = picture_of(container);
  return picture ? picture->rate : std::nullopt;
}

std::optional<int> whole_tag(const Container& container, const char* name) {
  const auto* text = tag(container, name);
  return text ? positive(std::string_view(*text)) : std::nullopt;
}

// Identifiers of a recording's curve: "com.apple.rec2020.apple-log", "<reversed domain>.<camera>.<curve>".
SourceMetadata curve_metadata(std::string_view id, const char* origin) {
  SourceMetadata metadata{.origin = origin};
  const auto last = id.rfind('.');
  if (last == std::string_view::npos || last + 1 == id.size()) return metadata;
  metadata.gamma = std::string(id.substr(last + 1));
  const auto before = id.substr(0, last);
  if (id.starts_with("com.apple.")) metadata.gamut = std::string(before.substr(before.rfind('.') + 1));
  return metadata;
}

// `logs` in the picture's sample entry: ASCII.
Result<SourceMetadata> sample_entry_metadata(ReadFile& file) {
  const std::array<std::string_view, 6> path{"moov", "trak", "mdia", "minf", "stbl", "stsd"};
  for (const auto& stsd : TRY(find_boxes(file, path)))
    for (const auto& entry : TRY(read_children(file, stsd)))
      for (const auto& extra : TRY(read_children(file, entry, true)))
        if (extra.type == "logs") {
          const auto id = TRY(read_bytes(file, extra.content, extra.end, 200));
          const auto begin = id.find("com.");
          if (begin != std::string::npos)
            return curve_metadata(std::string_view(id).substr(begin, id.find('\0', begin) - begin), "sample entry");
        }
  return SourceMetadata{};
}

// The value of a QuickTime key that is a 64-bit float, which libavformat leaves out.
Result<std::optional<double>> float_key(ReadFile& file, std::string_view name) {
  const auto keys = TRY(find(file, std::array<std::string_view, 3>{"moov", "meta", "keys"}));
  const auto list = TRY(find(file, std::array<std::string_view, 3>{"moov", "meta", "ilst"}));
  if (keys.empty() || list.empty()) return std::nullopt;
  const auto names = TRY(read_bytes(file, keys[0].content + 8, keys[0].end, kLargestNotes));
  const auto items = TRY(read_bytes(file, list[0].content, list[0].end, kLargestNotes));
  std::uint64_t number = 0;
  for (std::size_t at = 0, index = 1; at + 8 <= names.size(); ++index) {
    const auto size = big_endian(names, at, 4);
    if (size < 8 || size > names.size() - at) break;
    if (std::string_view(names).substr(at + 8, size - 8) == name) number = index;
    at += size;
  }
  for (std::size_t at = 0; number > 0 && at + 24 <= items.size();) {
    const auto size = big_endian(items, at, 4);
    if (size < 8 || size > items.size() - at) break;
    constexpr std::uint64_t kFloat64 = 24;
    if (big_endian(items, at + 4, 4) == number && size >= 32 && big_endian(items, at + 16, 4) == kFloat64)
      return std::bit_cast<double>(big_endian(items, at + 24, 8));
    at += size;
  }
  return std::nullopt;
}

Result<SourceMetadata> key_metadata(ReadFile& file, const Container& container) {
  SourceMetadata metadata{.origin = "container keys"};
  if (const auto* id = tag(container, "com.apple.proapps.customgamma")) {
    metadata = curve_metadata(*id, "container keys");
  }
  if (const auto rate = TRY(float_key(file, "com.apple.proapps.shootingRate")))
    metadata.capture_rate = parse_rate(fmt::format("{:.3f}", *rate));
  if (const auto* rate = tag(container, "com.android.capture.fps")) metadata.capture_rate = parse_rate(*rate);
  if (const auto* rate = tag(container, "com.arri.camera.sensorfps"))  // in thousandths
    metadata.capture_rate = parse_rate(fmt::format("{:.3f}", std::strtod(rate->c_str(), nullptr) / 1000));
  metadata.iso = whole_tag(container, "com.arri.camera.exposureindexasa");
  metadata.white_balance = whole_tag(container, "com.arri.camera.whitebalancekelvin");
  if (const auto* lens = tag(container, "com.blackmagic-design.camera.lenstype")) metadata.lens = *lens;
  return metadata;
}

// What makers put into a key, into the movie's user data, and into a box of its own.
Result<std::vector<SourceMetadata>> vendor_metadata(ReadFile& file, const Container& container) {
  std::vector<SourceMetadata> sources;
  if (const auto* xml = tag(container, "com.panasonic.semi-pro.metadata.xml"))
    if (auto metadata = parse_clip_metadata(*xml)) sources.push_back(std::move(*metadata));
  // `offsets` in each box are where what is read may begin.
  const auto add = [&](std::span<const std::string_view> path, auto read,
                       std::initializer_list<std::uint64_t> offsets = {0}) -> Result<void> {
    for (const auto& box : TRY(find_boxes(file, path)))
      for (const auto place : offsets)
        if (place < box.end - box.content)
          sources.push_back(read(TRY(read_bytes(file, box.content + place, box.end, kLargestNotes))));
    return {};
  };
  const auto in_user_data = [&](std::string_view type, auto read, std::initializer_list<std::uint64_t> offsets = {0}) {
    return add(std::array<std::string_view, 3>{"moov", "udta", type}, read, offsets);
  };
  TRY(add(std::array<std::string_view, 2>{"moov", "uuid"}, canon_metadata));
  TRY(in_user_data("MVTG", fujifilm_metadata));
  // The still with the camera's Exif lies soon, or past two MiB (ExifTool's tag table names 0x10, 0x4068, 0x4080 and
  // 0x200080).
  TRY(in_user_data("PANA", panasonic_metadata, {0, 2 << 20}));
  TRY(in_user_data("GPMF", gopro_metadata));
  TRY(add(std::array<std::string_view, 4>{"moov", "udta", "NCDT", "NCTG"},
          [&](std::string_view content) { return nikon_metadata(content, file_rate(container)); }));
  return sources;
}

// The first sample of the streams that hold what the camera was set to, frame by frame.
Result<void> add_timed_metadata(ReadFile& file, const Container& container, std::vector<SourceMetadata>& sources) {
  for (const auto& stream : container.streams) {
    if (!stream.first_sample || (stream.tag != "rtmd" && stream.tag != "djmd")) continue;
    const auto sample = TRY(read_bytes(file, stream.first_sample->begin, stream.first_sample->end, kLargestSample));
    sources.push_back(stream.tag == "rtmd" ? read_timed_metadata(sample) : dji_metadata(sample, file_rate(container)));
  }
  return {};
}

// H.273: only these two codes say anything. No code exists for any camera's log, and 709 is written beside log too.
SourceMetadata transfer_metadata(const Container& container) {
  SourceMetadata metadata{.origin = "container transfer"};
  const auto* picture = picture_of(container);
  if (!picture) return metadata;
  if (picture->transfer == "smpte2084") metadata.gamma = "pq";
  if (picture->transfer == "arib-std-b67") metadata.gamma = "hlg";
  return metadata;
}

}  // namespace

Result<Embedded> read_embedded(const ReadFs& fs, const Path& video, const Container& container) {
  Embedded embedded;
  if (container.format.starts_with("mov,")) {
    const auto file = TRY(fs.open(video, Cache::use));
    embedded.sidecar = TRY(embedded_sidecar(*file));
    embedded.sources = TRY(vendor_metadata(*file, container));
    TRY(add_timed_metadata(*file, container, embedded.sources));
    embedded.sources.push_back(TRY(sample_entry_metadata(*file)));
    embedded.sources.push_back(TRY(key_metadata(*file, container)));
  }
  if (container.format == "mxf") {
    const auto file = TRY(fs.open(video, Cache::use));
    const auto size = TRY(file->stat()).size;
    embedded.sources.push_back(read_acquisition_sets(TRY(mxf_acquisition_sets(*file, size))));
  }
  embedded.sources.push_back(transfer_metadata(container));
  return embedded;
}

}  // namespace everytake::media
