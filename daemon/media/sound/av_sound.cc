#include "media/sound/av_sound.h"

#include <cmath>
#include <vector>

#include "base/text.h"
#include "media/container/av.h"

extern "C" {
#include <libavutil/channel_layout.h>
#include <libavutil/opt.h>
#include <libavutil/samplefmt.h>
#include <libswresample/swresample.h>
}

namespace everytake::media {
namespace {

// Containers with millisecond clocks round each packet's time; a hole in a recording is longer than that.
constexpr double kHole = 0.010;        // s
constexpr double kLongestHole = 3600;  // s; a jump beyond it is a broken clock, not silence
constexpr int kFilter = 16;            // taps a sample of the slower rate: half the usual, half the time
constexpr int kMostChannels = 64;      // that libswresample takes

using Resampler = std::unique_ptr<SwrContext, av::Freer<swr_free>>;

// Any sound to mono floats. Every channel counts the same: on a set they are separate microphones, not a room.
class Mixer {
 public:
  Mixer(int rate_hz, const SoundSink& sink) : rate_(rate_hz), sink_(sink) {}

  // `time` is the frame's, in seconds since the first picture; nullopt where the stream does not say.
  bool add(const AVFrame& frame, std::optional<double> time) {
    if (!same_kind(frame)) {
      drain();
      if (!prepare(frame)) return false;
    }
    if (time) settle(*time * rate_);
    return convert(frame.extended_data, frame.nb_samples);
  }

  void drain() {
    if (swr_) convert(nullptr, 0);
  }

 private:
  bool same_kind(const AVFrame& frame) const {
    return swr_ && frame.format == format_ && frame.sample_rate == source_rate_ &&
           frame.ch_layout.nb_channels == channels_;
  }

  bool prepare(const AVFrame& frame) {
    format_ = frame.format;
    source_rate_ = frame.sample_rate;
    channels_ = frame.ch_layout.nb_channels;
    if (source_rate_ <= 0 || channels_ <= 0 || channels_ > kMostChannels) return false;
    AVChannelLayout from{}, to = AV_CHANNEL_LAYOUT_MONO;
    av_channel_layout_default(&from, channels_);
    SwrContext* raw = nullptr;
    const int made = swr_alloc_set_opts2(&raw, &to, AV_SAMPLE_FMT_FLT, rate_, &from,
                                         static_cast<AVSampleFormat>(format_), source_rate_, 0, nullptr);
    swr_.reset(raw);
    const std::vector<double> even(static_cast<std::size_t>(channels_), 1.0 / channels_);
    return made >= 0 && av_opt_set_int(raw, "filter_size", kFilter, 0) >= 0 &&
           swr_set_matrix(raw, even.data(), channels_) >= 0 && swr_init(raw) >= 0;
  }

  // Moves on to `position` (in samples) where the sound did not continue.
  void settle(double position) {
    const double next = static_cast<double>(at_) + static_cast<double>(swr_get_delay(swr_.get(), rate_));
    const double hole = position - next;
    if (started_ && std::abs(hole) < kHole * rate_) return;
    if (started_ && std::abs(hole) > kLongestHole * rate_) return;
    if (started_) {
      drain();
      swr_init(swr_.get());
    }
    at_ = std::llround(position);
    started_ = true;
  }

  bool convert(std::uint8_t** samples, int count) {
    const int room = swr_get_out_samples(swr_.get(), count);
    if (room < 0) return false;
    out_.resize(static_cast<std::size_t>(room));
    auto* out = reinterpret_cast<std::uint8_t*>(out_.data());
    const int got = swr_convert(swr_.get(), &out, room, const_cast<const std::uint8_t**>(samples), count);
    if (got < 0) return false;
    if (got > 0) sink_(at_, std::span(out_.data(), static_cast<std::size_t>(got)));
    at_ += got;
    started_ = true;
    return true;
  }

  const int rate_;
  const SoundSink& sink_;
  Resampler swr_;
  int format_ = AV_SAMPLE_FMT_NONE, source_rate_ = 0, channels_ = 0;
  std::int64_t at_ = 0;  // where the next sample out belongs
  bool started_ = false;
  std::vector<float> out_;
};

// `scale` brings a sample to ±1; `middle` is the code of silence.
template <class T>
void measure(const AVFrame& frame, bool planar, float scale, float middle, LevelMeter& meter) {
  const auto channels = static_cast<std::size_t>(frame.ch_layout.nb_channels);
  for (std::size_t channel = 0; channel < channels; ++channel) {
    const T* samples = reinterpret_cast<const T*>(frame.extended_data[planar ? channel : 0]) + (planar ? 0 : channel);
    for (int i = 0; i < frame.nb_samples; ++i, samples += planar ? 1 : channels)
      meter.add(channel, (static_cast<float>(*samples) - middle) * scale);
  }
}

void measure(const AVFrame& frame, LevelMeter& meter) {
  const auto format = static_cast<AVSampleFormat>(frame.format);
  const bool planar = av_sample_fmt_is_planar(format) != 0;
  switch (av_get_packed_sample_fmt(format)) {
    case AV_SAMPLE_FMT_U8:
      return measure<std::uint8_t>(frame, planar, 0x1p-7F, 128, meter);
    case AV_SAMPLE_FMT_S16:
      return measure<std::int16_t>(frame, planar, 0x1p-15F, 0, meter);
    case AV_SAMPLE_FMT_S32:
      return measure<std::int32_t>(frame, planar, 0x1p-31F, 0, meter);
    case AV_SAMPLE_FMT_FLT:
      return measure<float>(frame, planar, 1, 0, meter);
    case AV_SAMPLE_FMT_DBL:
      return measure<double>(frame, planar, 1, 0, meter);
    default:
      return;  // no decoder of these formats gives another
  }
}

// The sound of one stream, on the clock that starts with the first picture.
class Decoding {
 public:
  Decoding(const AVStream& stream, std::optional<double> zero, av::CodecContext decoder, Mixer mixer, LevelMeter* meter)
      : stream_(stream), zero_(zero), decoder_(std::move(decoder)), mixer_(std::move(mixer)), meter_(meter) {}

  void packet(const AVPacket* packet) {                           // nullptr at the end
    if (avcodec_send_packet(decoder_.get(), packet) < 0) return;  // a damaged packet is a hole
    while (avcodec_receive_frame(decoder_.get(), frame_.get()) >= 0) {
      if (meter_) measure(*frame_, *meter_);
      heard_ = mixer_.add(*frame_, time_of(*frame_)) || heard_;
      av_frame_unref(frame_.get());
    }
  }

  bool finish() {
    packet(nullptr);
    mixer_.drain();
    return heard_;
  }

 private:
  std::optional<double> time_of(const AVFrame& frame) {
    if (frame.best_effort_timestamp == AV_NOPTS_VALUE) return std::nullopt;
    const double time = static_cast<double>(frame.best_effort_timestamp) * av_q2d(stream_.time_base);
    if (!zero_) zero_ = time;
    return time - *zero_;
  }

  const AVStream& stream_;
  std::optional<double> zero_;
  av::CodecContext decoder_;
  Mixer mixer_;
  LevelMeter* const meter_;
  av::Frame frame_ = av::new_frame();
  bool heard_ = false;
};

struct OpenSound {
  av::Input input;
  int index;  // -1 where there is no sound
  AVStream& stream() const { return *input->streams[index]; }
};

Result<OpenSound> open_sound(const ReadFs& fs, const Path& path, std::stop_token stop) {
  auto input = TRY(av::Input::open(fs, path, std::move(stop)));
  if (!input) return fail(Code::corrupt, shown(path.string()) + ": can't be read as a recording");
  const int index = av::first_audio(*input->get());
  for (unsigned i = 0; i < (*input)->nb_streams; ++i)
    if (static_cast<int>(i) != index) (*input)->streams[i]->discard = AVDISCARD_ALL;
  return OpenSound{std::move(*input), index};
}

// The time of the first picture, in seconds on the file's clock.
std::optional<double> first_picture(const AVFormatContext& context) {
  const int index = av::main_video(context);
  if (index < 0) return std::nullopt;
  const AVStream& video = *context.streams[index];
  return video.start_time == AV_NOPTS_VALUE ? 0 : static_cast<double>(video.start_time) * av_q2d(video.time_base);
}

}  // namespace

Result<void> decode_sound(const ReadFs& fs, const Path& path, int rate_hz, std::stop_token stop, const SoundSink& sink,
                          LevelMeter* meter) {
  auto sound = TRY(open_sound(fs, path, std::move(stop)));
  if (sound.index < 0) return {};
  auto decoder = av::open_decoder(sound.stream());
  if (!decoder) return fail(Code::corrupt, shown(path.string()) + ": its sound is in no known form");
  Decoding decoding(sound.stream(), first_picture(*sound.input.get()), std::move(decoder), Mixer(rate_hz, sink), meter);
  const auto packet = av::new_packet();
  while (TRY(sound.input.read(*packet))) {
    if (packet->stream_index == sound.index) decoding.packet(packet.get());
    av_packet_unref(packet.get());
  }
  if (!decoding.finish()) return fail(Code::corrupt, shown(path.string()) + ": nothing of its sound can be decoded");
  return {};
}

Result<Micros> sound_stream_length(const ReadFs& fs, const Path& path, std::stop_token stop) {
  auto sound = TRY(open_sound(fs, path, std::move(stop)));
  if (sound.index < 0) return fail(Code::invalid, shown(path.string()) + ": has no sound");
  const AVStream& stream = sound.stream();
  if (sound.input->duration_estimation_method != AVFMT_DURATION_FROM_BITRATE)
    if (const auto length = av::micros_of(stream.duration, stream.time_base)) return *length;
  std::int64_t first = INT64_MAX, end = INT64_MIN;
  const auto packet = av::new_packet();
  while (TRY(sound.input.read(*packet))) {
    if (packet->stream_index == sound.index && packet->pts != AV_NOPTS_VALUE) {
      first = std::min(first, packet->pts);
      end = std::max(end, packet->pts + packet->duration);
    }
    av_packet_unref(packet.get());
  }
  const auto length = end > first ? av::micros_of(end - first, stream.time_base) : std::nullopt;
  if (!length) return fail(Code::corrupt, shown(path.string()) + ": its sound has no length");
  return *length;
}

}  // namespace everytake::media
