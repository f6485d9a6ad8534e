#include "media/container/av_container.h"

#include <algorithm>
#include <cctype>
#include <cmath>

#include "base/text.h"
#include "media/container/av.h"

extern "C" {
#include <libavutil/display.h>
#include <libavutil/pixdesc.h>
}

namespace everytake::media {
namespace {

Tags tags_of(const AVDictionary* dictionary) {
  constexpr std::size_t kMostTags = 1000;
  Tags tags;
  const AVDictionaryEntry* entry = nullptr;
  while ((entry = av_dict_get(dictionary, "", entry, AV_DICT_IGNORE_SUFFIX)) && tags.size() < kMostTags) {
    tags.emplace(lower_case(entry->key), entry->value);
  }
  return tags;
}

Stream::Type type_of(AVMediaType type) {
  switch (type) {
    case AVMEDIA_TYPE_VIDEO:
      return Stream::Type::video;
    case AVMEDIA_TYPE_AUDIO:
      return Stream::Type::audio;
    case AVMEDIA_TYPE_DATA:
      return Stream::Type::data;
    default:
      return Stream::Type::other;
  }
}

// av_display_rotation_get counts counter-clockwise.
std::optional<int> rotation_of(const AVStream& stream) {
  const auto* matrix = av_stream_get_side_data(&stream, AV_PKT_DATA_DISPLAYMATRIX, nullptr);
  if (!matrix) return std::nullopt;
  const double turn = av_display_rotation_get(reinterpret_cast<const std::int32_t*>(matrix));
  if (!std::isfinite(turn)) return std::nullopt;
  const long quarters = std::lround(-turn / 90);
  return static_cast<int>(((quarters % 4) + 4) % 4 * 90);
}

std::optional<int> bit_depth_of(const AVCodecParameters& parameters) {
  if (const auto* format = av_pix_fmt_desc_get(static_cast<AVPixelFormat>(parameters.format)))
    return format->comp[0].depth;
  if (parameters.bits_per_raw_sample > 0) return parameters.bits_per_raw_sample;
  return std::nullopt;
}

void describe_index(AVStream& from, Stream& to) {
  const int count = avformat_index_get_entries_count(&from);
  for (int i = 0; i < count; ++i) {
    const AVIndexEntry* entry = avformat_index_get_entry(&from, i);
    if (entry->pos < 0 || entry->size < 0) continue;
    const auto begin = static_cast<std::uint64_t>(entry->pos);
    const auto end = begin + static_cast<std::uint64_t>(entry->size);
    if (!to.first_sample) to.first_sample = Stream::Extent{begin, end};
    to.last_byte = std::max(to.last_byte.value_or(0), end);
  }
}

void describe_video(const AVStream& from, Stream& to) {
  const auto& parameters = *from.codecpar;
  to.picture = from.disposition & AV_DISPOSITION_ATTACHED_PIC;
  to.rate = av::rate_of(from.avg_frame_rate);
  to.base_rate = av::rate_of(from.r_frame_rate);
  to.width = parameters.width;
  to.height = parameters.height;
  to.rotation = rotation_of(from);
  to.bit_depth = bit_depth_of(parameters);
  to.full_range = parameters.color_range == AVCOL_RANGE_JPEG;
  if (parameters.color_trc != AVCOL_TRC_UNSPECIFIED)
    if (const char* name = av_color_transfer_name(parameters.color_trc)) to.transfer = name;
}

Stream describe(AVStream& from) {
  Stream to;
  const auto& parameters = *from.codecpar;
  to.type = type_of(parameters.codec_type);
  if (parameters.codec_id != AV_CODEC_ID_NONE) to.codec = avcodec_get_name(parameters.codec_id);
  for (unsigned tag = parameters.codec_tag; tag != 0; tag >>= 8) to.tag += static_cast<char>(tag & 0xFF);
  to.start = av::micros_of(from.start_time, from.time_base);
  to.duration = av::micros_of(from.duration, from.time_base);
  if (from.nb_frames > 0) to.samples = from.nb_frames;
  if (to.type == Stream::Type::video) describe_video(from, to);
  if (to.type == Stream::Type::data) to.rate = av::rate_of(from.avg_frame_rate);  // of a timecode track
  to.channels = parameters.ch_layout.nb_channels;
  to.sample_rate = parameters.sample_rate;
  describe_index(from, to);
  to.tags = tags_of(from.metadata);
  return to;
}

}  // namespace

Result<std::optional<Container>> read_container(const ReadFs& fs, const Path& path, std::stop_token stop) {
  auto input = TRY(av::Input::open(fs, path, std::move(stop)));
  if (!input) return std::nullopt;
  Container container;
  AVFormatContext& context = *input->get();
  container.format = context.iformat->name;
  container.duration = av::micros_of(context.duration, AVRational{1, AV_TIME_BASE});
  if (const int video = av::main_video(context); video >= 0) TRY(input->look_at_picture(video));
  for (unsigned i = 0; i < context.nb_streams; ++i) container.streams.push_back(describe(*context.streams[i]));
  container.main_video = av::main_video(context);
  container.first_audio = av::first_audio(context);
  container.tags = tags_of(context.metadata);
  return container;
}

}  // namespace everytake::media
