#include "media/probe.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/text.h"
#include "media/container/boxes.h"
#include "media/container/timecode.h"
#include "media/metadata/mxf.h"

namespace everytake::media {
namespace {

constexpr const char* kOrigin = "container";
constexpr const char* kRecordingBrokeOff =
    "{} holds pictures but no index: recording broke off. Put the card back into the camera, which may mend it, before "
    "it is wiped";

Problem problem(ProblemCode code, const Path& video, const std::string& message) {
  return {code, video.string(), "", message};
}

std::string name_of(const Path& video) {
  return shown(video.filename().string());
}

// What is wrong with how it ends, where it is an MXF file.
Result<std::optional<Problem>> mxf_problem(ReadFile& file, const Path& video, std::uint64_t size, bool readable) {
  const auto end = TRY(mxf_end(file, size));
  if (!end || *end == MxfEnd::whole) return std::nullopt;
  if (*end == MxfEnd::missing)
    return problem(ProblemCode::truncated, video,
                   name_of(video) + " has no end: the camera wrote no more. Play it on the camera, and shoot it again");
  if (!readable)
    return problem(ProblemCode::incomplete, video, fmt::format(fmt::runtime(kRecordingBrokeOff), name_of(video)));
  return problem(ProblemCode::truncated, video,
                 name_of(video) +
                     " was never closed, so its end may be missing. Play it on the camera, and shoot it "
                     "again if it breaks off");
}

// Why libav made nothing of it.
Result<Problem> why_unreadable(const ReadFs& fs, const Path& video) {
  const auto file = TRY(fs.open(video, Cache::use));
  const auto stat = TRY(file->stat());
  if (stat.size == 0)
    return problem(ProblemCode::empty, video,
                   name_of(video) + " is empty: the camera wrote nothing into it. Shoot it again");
  if (const auto cut = TRY(mxf_problem(*file, video, stat.size, false))) return *cut;
  const auto boxes = TRY(read_boxes(*file, 0, stat.size));
  const auto has = [&](const char* type) {
    return std::any_of(boxes.begin(), boxes.end(), [type](const Box& box) { return box.type == type; });
  };
  if (has("mdat") && !has("moov"))
    return problem(ProblemCode::incomplete, video, fmt::format(fmt::runtime(kRecordingBrokeOff), name_of(video)));
  return problem(ProblemCode::unreadable, video,
                 name_of(video) + " can't be read as a recording. Play it on the camera before the card is wiped");
}

// Where nothing in the container is exact, libav computes a rate from rounded times.
Rational snapped(Rational rate) {
  constexpr double kTolerance = 0.0002;  // a fifth of what lies between 23.976 and 24
  for (const Rational unit : {Rational(1, 1), Rational(1000, 1001)}) {
    const double count = std::round(rate.value() / unit.value());
    const Rational near(static_cast<std::int64_t>(count) * unit.num(), unit.den());
    if (count >= 1 && std::abs(rate.value() - near.value()) <= kTolerance * near.value()) return near;
  }
  return rate;
}

bool has_exact_times(const Container& container) {
  return container.format.starts_with("mov,") || container.format == "mxf" || container.format == "avi";
}

bool rates_differ(Rational a, Rational b) {
  return std::abs(a.value() - b.value()) > 0.001 * b.value();
}

void take_rate(const Container& container, const Stream& video, const Path& path, ClipFacts& facts) {
  if (!video.rate) return;
  const bool exact = has_exact_times(container);
  facts.frame_rate = exact ? *video.rate : snapped(*video.rate);
  const bool fields = video.base_rate && *video.base_rate == *video.rate * Rational(2, 1);
  if (exact && video.base_rate && !fields && rates_differ(*video.rate, *video.base_rate))
    facts.problems.push_back(problem(ProblemCode::variable_rate, path,
                                     fmt::format("{} has a variable frame rate, {:.3f} on average: make it constant "
                                                 "before the edit, or sound and picture drift apart",
                                                 name_of(path), video.rate->value())));
}

void take_picture(const Container& container, const Stream& video, const Path& path, ClipFacts& facts) {
  take_rate(container, video, path, facts);
  facts.frames = video.samples;
  facts.duration = video.duration ? video.duration : container.duration;
  if (!video.codec.empty()) facts.codec = video.codec;
  facts.bit_depth = video.bit_depth;
  facts.rotation = video.rotation.value_or(0);
  if (video.width <= 0 || video.height <= 0) return;
  const bool upright = *facts.rotation % 180 == 0;
  facts.width = upright ? video.width : video.height;
  facts.height = upright ? video.height : video.width;
}

// The label of the first frame, wherever libav puts it: on the picture, on a timecode or metadata stream, on the file.
std::optional<std::string> timecode_text(const Container& container, const Stream& video) {
  const auto of = [](const Tags& tags) -> std::optional<std::string> {
    const auto found = tags.find("timecode");
    return found == tags.end() ? std::nullopt : std::optional(found->second);
  };
  if (const auto text = of(video.tags)) return text;
  for (const char* tag : {"tmcd", "rtmd"})
    for (const auto& stream : container.streams)
      if (stream.tag == tag)
        if (const auto text = of(stream.tags)) return text;
  return of(container.tags);
}

void take_timecode(const Container& container, const Stream& video, const Path& path, ClipFacts& facts) {
  const auto text = timecode_text(container, video);
  if (!text || !facts.frame_rate) return;
  const auto label = parse_timecode(*text, *facts.frame_rate);
  if (!label) {
    facts.problems.push_back(problem(ProblemCode::timecode_invalid, path,
                                     fmt::format("{} begins at timecode {}, which does not exist at {:.3f} frames a "
                                                 "second: check the camera's timecode setting",
                                                 name_of(path), shown(*text), facts.frame_rate->value())));
    return;
  }
  facts.timecode = to_string(*label, *facts.frame_rate);
  facts.drop_frame = label->drop;
}

std::optional<std::string> first_tag(const Tags& tags, std::initializer_list<const char*> names) {
  for (const char* name : names)
    if (const auto found = tags.find(name); found != tags.end() && !found->second.empty()) return found->second;
  return std::nullopt;
}

void take_tags(const Tags& tags, ClipFacts& facts) {
  facts.camera = first_tag(tags, {"com.apple.quicktime.model", "com.apple.proapps.modelname", "com.android.model",
                                  "com.arri.camera.cameramodel", "model", "product_name"});
  if (const auto zoned = first_tag(tags, {"com.apple.quicktime.creationdate"}))
    if ((facts.recorded_at = parse_iso8601(*zoned))) return;
  const auto clock = first_tag(tags, {"creation_time"});
  const auto time = clock ? parse_iso8601(*clock) : std::nullopt;
  // A clock that was never set counts from its maker's first day.
  if (time && *time > parse_iso8601("1990-01-01T00:00:00Z")) {
    facts.recorded_at = time;
    facts.origin["recorded_at"] = "container, UTC by its standard; some cameras write local time";
  }
}

// Where the index says that bytes lie which the file does not have.
void check_end(const Container& container, const Path& path, std::uint64_t size, ClipFacts& facts) {
  std::uint64_t last = 0;
  for (const auto& stream : container.streams) last = std::max(last, stream.last_byte.value_or(0));
  if (last <= size) return;
  facts.problems.push_back(
      problem(ProblemCode::truncated, path,
              fmt::format("{} ends at {} of {}: the camera wrote no more. Play it on the camera, and shoot it again",
                          name_of(path), bytes_text(size), bytes_text(last))));
}

void note_origins(ClipFacts& facts) {
  const auto note = [&facts](const char* field, bool known) {
    if (known) facts.origin.emplace(field, kOrigin);
  };
  note("duration", facts.duration.has_value());
  note("frames", facts.frames.has_value());
  note("frame_rate", facts.frame_rate.has_value());
  note("width", facts.width.has_value());
  note("height", facts.height.has_value());
  note("rotation", facts.rotation.has_value());
  note("codec", facts.codec.has_value());
  note("bit_depth", facts.bit_depth.has_value());
  note("bit_rate", facts.bit_rate.has_value());
  note("timecode", facts.timecode.has_value());
  note("drop_frame", facts.drop_frame.has_value());
  note("recorded_at", facts.recorded_at.has_value());
  note("camera", facts.camera.has_value());
  note("audio", facts.audio.has_value());
}

}  // namespace

ClipFacts facts_of(const Container& container, const Path& video, std::uint64_t size) {
  ClipFacts facts;
  facts.audio = container.first_audio >= 0;
  const auto length = container.duration;
  if (length && *length > Micros::zero())
    facts.bit_rate = std::llround(static_cast<double>(size) * 8 / seconds(*length));
  if (container.main_video >= 0) {
    const Stream& picture = container.streams[static_cast<std::size_t>(container.main_video)];
    take_picture(container, picture, video, facts);
    take_timecode(container, picture, video, facts);
  } else {
    facts.problems.push_back(
        problem(ProblemCode::no_picture, video, name_of(video) + " has no picture, only sound or data"));
  }
  take_tags(container.tags, facts);
  check_end(container, video, size, facts);
  note_origins(facts);
  return facts;
}

Result<ClipFacts> facts_of(const ReadFs& fs, const Path& video, const std::optional<Container>& container,
                           std::uint64_t size) {
  ClipFacts facts;
  if (container)
    facts = facts_of(*container, video, size);
  else
    facts.problems.push_back(TRY(why_unreadable(fs, video)));
  if (container && container->format == "mxf") {
    const auto file = TRY(fs.open(video, Cache::use));
    if (const auto cut = TRY(mxf_problem(*file, video, size, true))) facts.problems.push_back(*cut);
  }
  return facts;
}

Result<ClipFacts> probe(const ReadFs& fs, const Path& video, std::stop_token stop) {
  const auto stat = TRY(fs.stat(video));
  const bool readable = stat.type == FileType::regular && stat.size > 0;
  return facts_of(fs, video, readable ? TRY(read_container(fs, video, std::move(stop))) : std::nullopt, stat.size);
}

}  // namespace everytake::media
