#include "support/media_movie.h"

extern "C" {
#include <libavcodec/avcodec.h>
#include <libavformat/avformat.h>
#include <libavutil/channel_layout.h>
#include <libavutil/opt.h>
#include <libavutil/pixdesc.h>
#include <libswscale/swscale.h>
}

#include <algorithm>
#include <boost/filesystem.hpp>
#include <cmath>
#include <cstring>
#include <memory>
#include <stdexcept>
#ifdef __SANITIZE_ADDRESS__
#include <sanitizer/lsan_interface.h>
#endif

#include "support/rooms.h"
#include "support/temp_dir.h"

namespace everytake::test {
namespace {

template <auto free_function>
struct Freer {
  template <class T>
  void operator()(T* object) const {
    free_function(&object);
  }
};
using FramePtr = std::unique_ptr<AVFrame, Freer<av_frame_free>>;
using PacketPtr = std::unique_ptr<AVPacket, Freer<av_packet_free>>;
using CodecPtr = std::unique_ptr<AVCodecContext, Freer<avcodec_free_context>>;

int must(int status, const std::string& doing) {
  if (status >= 0) return status;
  char words[AV_ERROR_MAX_STRING_SIZE] = {};
  av_strerror(status, words, sizeof words);
  throw std::runtime_error(doing + ": " + words);
}

template <class T>
T* must(T* object, const std::string& doing) {
  if (!object) throw std::runtime_error(doing + ": not there");
  return object;
}

// Lines and a block that move, so that no two frames are the same and every corner is told from the others.
Colour test_picture(float x, float y, int frame) {
  const float t = static_cast<float>(frame % 240) / 240;
  const bool block = std::abs(x - t) < 0.06F && std::abs(y - 0.6F) < 0.12F;
  if (block) return {0.62F, 0.58F, 0.40F};
  return {0.25F + 0.25F * x, 0.3F + 0.2F * y, 0.35F + 0.1F * std::sin(6.28F * (x + t))};
}

class Writer {
 public:
  Writer(const Path& path, const Movie& movie) : movie_(movie) {
    must(avformat_alloc_output_context2(&context_, nullptr, movie.format.c_str(), path.c_str()), movie.format);
    context_->flags |= AVFMT_FLAG_BITEXACT;
    for (const auto& [key, value] : movie.tags) av_dict_set(&context_->metadata, key.c_str(), value.c_str(), 0);
    if (!movie.created.empty()) av_dict_set(&context_->metadata, "creation_time", movie.created.c_str(), 0);
    if (!movie.video_codec.empty()) add_video();
    if (movie.sound) add_audio();
    if (!movie.ancillary.empty()) add_ancillary();
    must(avio_open(&context_->pb, path.c_str(), AVIO_FLAG_WRITE), path.string());
    AVDictionary* options = nullptr;
    if (movie.index_first) av_dict_set(&options, "movflags", "+faststart", 0);
    if (!movie.tags.empty() && movie.format == "mov") av_dict_set(&options, "movflags", "+use_metadata_tags", 0);
    for (const auto& [key, value] : movie.options) av_dict_set(&options, key.c_str(), value.c_str(), 0);
    const int status = avformat_write_header(context_, &options);
    av_dict_free(&options);
    must(status, "header");
  }
  Writer(const Writer&) = delete;
  Writer& operator=(const Writer&) = delete;
  ~Writer() {
    if (context_ && context_->pb) avio_closep(&context_->pb);
    sws_freeContext(scaler_);
    avformat_free_context(context_);
  }

  void write() {
    int frame = 0;
    std::size_t sample = 0;
    const double rate = movie_.rate.value();
    const std::size_t samples = audio_ ? movie_.sound->samples.size() / movie_.sound->channels : 0;
    while (frame < (video_ ? movie_.frames : 0) || sample < samples) {
      const double video_time = video_ && frame < movie_.frames ? frame / rate : 1e9;
      const double audio_time = sample < samples ? static_cast<double>(sample) / movie_.sound->rate_hz : 1e9;
      if (video_time <= audio_time)
        encode(*video_, *video_stream_, picture(frame++).get());
      else
        encode(*audio_, *audio_stream_, sound(sample).get());
    }
    if (video_) encode(*video_, *video_stream_, nullptr);
    if (audio_) encode(*audio_, *audio_stream_, nullptr);
    must(av_write_trailer(context_), "trailer");
  }

 private:
  AVStream* stream_for(AVCodecContext& codec) {
    AVStream* stream = must(avformat_new_stream(context_, nullptr), "stream");
    must(avcodec_parameters_from_context(stream->codecpar, &codec), "parameters");
    stream->time_base = codec.time_base;
    return stream;
  }

  CodecPtr codec(const std::string& name) {
    CodecPtr made(avcodec_alloc_context3(must(avcodec_find_encoder_by_name(name.c_str()), name)));
    made->flags |= AV_CODEC_FLAG_BITEXACT;
    if (context_->oformat->flags & AVFMT_GLOBALHEADER) made->flags |= AV_CODEC_FLAG_GLOBAL_HEADER;
    made->thread_count = 1;
    return made;
  }

  void add_video() {
    video_ = codec(movie_.video_codec);
    video_->width = movie_.width;
    video_->height = movie_.height;
    video_->pix_fmt = av_get_pix_fmt(movie_.pixels.c_str());
    const AVRational rate{static_cast<int>(movie_.rate.num()), static_cast<int>(movie_.rate.den())};
    video_->framerate = rate;
    video_->time_base = av_inv_q(rate);
    video_->gop_size = 48;
    if (movie_.full_range) video_->color_range = AVCOL_RANGE_JPEG;
    AVDictionary* options = nullptr;
    if (movie_.video_codec == "libx264") {
      av_dict_set(&options, "preset", "ultrafast", 0);
      av_dict_set(&options, "crf", "34", 0);
      av_dict_set(&options, "x264-params", "trellis=0:subme=0:me=dia", 0);
    } else {
      video_->bit_rate = 400'000;
    }
    if (movie_.key_every) video_->gop_size = *movie_.key_every;
#ifdef __SANITIZE_ADDRESS__
    const __lsan::ScopedDisabler not_ours;  // libx265 3.5 never frees a copy of its parameters
#endif
    const int status = avcodec_open2(video_.get(), nullptr, &options);
    av_dict_free(&options);
    must(status, movie_.video_codec);
    video_stream_ = stream_for(*video_);
    video_stream_->avg_frame_rate = rate;
    if (movie_.timecode) av_dict_set(&video_stream_->metadata, "timecode", movie_.timecode->c_str(), 0);
  }

  void add_audio() {
    audio_ = codec(movie_.audio_codec);
    audio_->sample_rate = movie_.sound->rate_hz;
    av_channel_layout_default(&audio_->ch_layout, movie_.sound->channels);
    audio_->sample_fmt = must(audio_->codec->sample_fmts, "sample formats")[0];
    audio_->time_base = {1, audio_->sample_rate};
    audio_->bit_rate = 64'000 * movie_.sound->channels;
    AVDictionary* options = nullptr;
    if (movie_.audio_codec == "aac") av_dict_set(&options, "aac_coder", "fast", 0);
    const int status = avcodec_open2(audio_.get(), nullptr, &options);
    av_dict_free(&options);
    must(status, movie_.audio_codec);
    audio_stream_ = stream_for(*audio_);
  }

  void add_ancillary() {
    ancillary_stream_ = must(avformat_new_stream(context_, nullptr), "stream");
    ancillary_stream_->codecpar->codec_type = AVMEDIA_TYPE_DATA;
    ancillary_stream_->time_base = video_->time_base;
    av_dict_set(&ancillary_stream_->metadata, "data_type", "vbi_vanc_smpte_436M", 0);
  }

  void write_ancillary(std::int64_t time) {
    const PacketPtr packet(av_packet_alloc());
    must(av_new_packet(packet.get(), static_cast<int>(movie_.ancillary.size())), "ancillary data");
    std::memcpy(packet->data, movie_.ancillary.data(), movie_.ancillary.size());
    packet->pts = packet->dts = time;
    packet->duration = 1;
    packet->flags |= AV_PKT_FLAG_KEY;
    packet->stream_index = ancillary_stream_->index;
    must(av_interleaved_write_frame(context_, packet.get()), "write");
  }

  FramePtr picture(int number) {
    FramePtr rgb(av_frame_alloc()), frame(av_frame_alloc());
    rgb->width = movie_.width / movie_.coarse;
    rgb->height = movie_.height / movie_.coarse;
    frame->width = movie_.width;
    frame->height = movie_.height;
    rgb->format = AV_PIX_FMT_RGB48LE;
    frame->format = video_->pix_fmt;
    must(av_frame_get_buffer(rgb.get(), 0), "picture");
    must(av_frame_get_buffer(frame.get(), 0), "picture");
    const auto& paint = movie_.paint ? movie_.paint : Painter(test_picture);
    for (int y = 0; y < rgb->height; ++y) {
      auto* row = reinterpret_cast<std::uint16_t*>(rgb->data[0] + y * rgb->linesize[0]);
      for (int x = 0; x < rgb->width; ++x) {
        const Colour c = paint((static_cast<float>(x) + 0.5F) / static_cast<float>(rgb->width),
                               (static_cast<float>(y) + 0.5F) / static_cast<float>(rgb->height), number);
        for (const float value : {c.r, c.g, c.b})
          *row++ = static_cast<std::uint16_t>(std::lround(std::clamp(value, 0.0F, 1.0F) * 65535));
      }
    }
    if (!scaler_) make_scaler(*rgb, *frame);
    sws_scale(scaler_, rgb->data, rgb->linesize, 0, rgb->height, frame->data, frame->linesize);
    frame->pts = movie_.time ? movie_.time(number) : number;
    return frame;
  }

  // BT.709 into the stream's range.
  void make_scaler(const AVFrame& from, const AVFrame& to) {
    scaler_ = sws_getContext(from.width, from.height, static_cast<AVPixelFormat>(from.format), to.width, to.height,
                             static_cast<AVPixelFormat>(to.format), SWS_BILINEAR | SWS_ACCURATE_RND | SWS_BITEXACT,
                             nullptr, nullptr, nullptr);
    must(scaler_, "scaler");
    const int* bt709 = sws_getCoefficients(SWS_CS_ITU709);
    sws_setColorspaceDetails(scaler_, bt709, 1, bt709, movie_.full_range ? 1 : 0, 0, 1 << 16, 1 << 16);
  }

  FramePtr sound(std::size_t& at) {
    const auto channels = static_cast<std::size_t>(movie_.sound->channels);
    const std::size_t left = movie_.sound->samples.size() / channels - at;
    const std::size_t count = std::min<std::size_t>(left, audio_->frame_size > 0 ? audio_->frame_size : 1024);
    FramePtr frame(av_frame_alloc());
    frame->nb_samples = static_cast<int>(count);
    frame->format = audio_->sample_fmt;
    frame->sample_rate = audio_->sample_rate;
    must(av_channel_layout_copy(&frame->ch_layout, &audio_->ch_layout), "layout");
    must(av_frame_get_buffer(frame.get(), 0), "sound");
    for (std::size_t i = 0; i < count; ++i)
      for (std::size_t c = 0; c < channels; ++c)
        put_sample(*frame, i, c, movie_.sound->samples[(at + i) * channels + c]);
    frame->pts = static_cast<std::int64_t>(at);
    at += count;
    return frame;
  }

  static void put_sample(AVFrame& frame, std::size_t i, std::size_t channel, float value) {
    const auto channels = static_cast<std::size_t>(frame.ch_layout.nb_channels);
    const float held = std::clamp(value, -1.0F, 1.0F);
    switch (frame.format) {
      case AV_SAMPLE_FMT_FLTP:
        reinterpret_cast<float*>(frame.extended_data[channel])[i] = value;
        return;
      case AV_SAMPLE_FMT_S16:
        reinterpret_cast<std::int16_t*>(frame.data[0])[i * channels + channel] =
            static_cast<std::int16_t>(std::lround(held * 32767));
        return;
      case AV_SAMPLE_FMT_S16P:
        reinterpret_cast<std::int16_t*>(frame.extended_data[channel])[i] =
            static_cast<std::int16_t>(std::lround(held * 32767));
        return;
      case AV_SAMPLE_FMT_S32P:
        reinterpret_cast<std::int32_t*>(frame.extended_data[channel])[i] =
            static_cast<std::int32_t>(std::lround(static_cast<double>(held) * 2147483647.0));
        return;
      case AV_SAMPLE_FMT_S32:
        reinterpret_cast<std::int32_t*>(frame.data[0])[i * channels + channel] =
            static_cast<std::int32_t>(std::lround(static_cast<double>(held) * 2147483647.0));
        return;
      default:
        throw std::runtime_error("no such sample format here");
    }
  }

  void encode(AVCodecContext& codec, AVStream& stream, const AVFrame* frame) {
    must(avcodec_send_frame(&codec, frame), "encode");
    const PacketPtr packet(av_packet_alloc());
    for (;;) {
      const int status = avcodec_receive_packet(&codec, packet.get());
      if (status == AVERROR(EAGAIN) || status == AVERROR_EOF) return;
      must(status, "encode");
      if (&codec == video_.get() && packet->duration == 0) packet->duration = 1;
      av_packet_rescale_ts(packet.get(), codec.time_base, stream.time_base);
      if (&codec == audio_.get()) {
        const double time = static_cast<double>(packet->pts) * av_q2d(stream.time_base);
        const auto& hole = movie_.sound_hole;
        const double late = movie_.sound_delay + (hole && time >= hole->first ? hole->second : 0);
        const auto delay = std::llround(late / av_q2d(stream.time_base));
        packet->pts += delay;
        packet->dts += delay;
      }
      packet->stream_index = stream.index;
      const auto time = packet->pts;
      must(av_interleaved_write_frame(context_, packet.get()), "write");
      if (&stream == video_stream_ && ancillary_stream_) write_ancillary(time);
    }
  }

  const Movie& movie_;
  AVFormatContext* context_ = nullptr;
  CodecPtr video_, audio_;
  AVStream* video_stream_ = nullptr;
  AVStream* audio_stream_ = nullptr;
  AVStream* ancillary_stream_ = nullptr;
  SwsContext* scaler_ = nullptr;
};

}  // namespace

void make_movie(const Path& path, const Movie& movie) {
  av_log_set_level(AV_LOG_QUIET);
  if (path.has_parent_path()) boost::filesystem::create_directories(path.parent_path());
  Writer(path, movie).write();
}

std::string movie_bytes(const Movie& movie) {
  const TempDir folder;
  make_movie(folder / "movie", movie);
  return get_file(folder / "movie");
}

}  // namespace everytake::test
