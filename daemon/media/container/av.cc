#include "media/container/av.h"

#include <algorithm>
#include <atomic>
#include <limits>
#include <new>
#include <string_view>

#include "base/text.h"
#include "os/system_error.h"

namespace everytake::media::av {
namespace {

constexpr int kBuffer = 64 * 1024;
// What cameras, phones and recorders write, and what a master may be in. Nothing here opens a second file by itself.
constexpr const char* kFormats = "mov,mxf,mpegts,mpeg,matroska,avi,wav,w64,aiff,flac,mp3,ogg,caf,aac";
constexpr int kMostStreams = 64;
// A frame of the heaviest all-intra codecs is about 3 MB; it must fit in what libav looks at.
constexpr std::int64_t kProbeBytes = 20'000'000;

int refuse_other_files(AVFormatContext*, AVIOContext**, const char*, int, AVDictionary**) {
  return AVERROR(EACCES);
}

void silence() {
  static const bool once = (av_log_set_level(AV_LOG_QUIET), true);
  static_cast<void>(once);
}

bool is_cover(const AVStream& stream) {
  return stream.disposition & AV_DISPOSITION_ATTACHED_PIC;
}

bool has_no_samples(const AVStream& stream) {
  return stream.duration == 0 && stream.nb_frames == 0;
}

// Lengths, an index, sizes and rates for all that is seen or heard: then nothing need be read to know the streams. Of a
// sound track without a sample, and of a cover, there is nothing more to know.
bool tells_streams(const AVFormatContext& context) {
  if (!std::string_view(context.iformat->name).starts_with("mov,") || context.duration <= 0) return false;
  return std::all_of(context.streams, context.streams + context.nb_streams, [](const AVStream* stream) {
    const auto& coded = *stream->codecpar;
    switch (coded.codec_type) {
      case AVMEDIA_TYPE_AUDIO:
        return has_no_samples(*stream) ||
               (stream->duration > 0 && coded.sample_rate > 0 && coded.ch_layout.nb_channels > 0);
      case AVMEDIA_TYPE_VIDEO:
        return is_cover(*stream) || (stream->start_time != AV_NOPTS_VALUE && stream->duration > 0 && coded.width > 0 &&
                                     coded.height > 0 && stream->avg_frame_rate.num > 0 &&
                                     stream->r_frame_rate.num > 0 && avformat_index_get_entries_count(stream) > 0);
      default:
        return true;
    }
  });
}

// Where the container does not tell, the first seconds are read and frames decoded.
int learn_streams(AVFormatContext& context) {
  return tells_streams(context) ? 0 : avformat_find_stream_info(&context, nullptr);
}

}  // namespace

Frame new_frame() {
  Frame frame(av_frame_alloc());
  if (!frame) throw std::bad_alloc();
  return frame;
}

Packet new_packet() {
  Packet packet(av_packet_alloc());
  if (!packet) throw std::bad_alloc();
  return packet;
}

Error error_of(std::string doing, int averror) {
  if (averror == AVERROR_EXIT) return {Code::cancelled, std::move(doing), averror};
  char words[AV_ERROR_MAX_STRING_SIZE] = {};
  av_strerror(averror, words, sizeof words);
  const bool from_errno = averror < 0 && averror > -4096;  // libav's own codes are four letters
  return {from_errno ? code_of_errno(-averror) : Code::corrupt, std::move(doing) + ": " + words, averror};
}

std::optional<Rational> rate_of(AVRational rate) {
  if (rate.num <= 0 || rate.den <= 0) return std::nullopt;
  return Rational(rate.num, rate.den);
}

std::optional<Micros> micros_of(std::int64_t ticks, AVRational base) {
  constexpr std::int64_t kMost = 100LL * 366 * 86400 * 1'000'000;
  if (ticks == AV_NOPTS_VALUE || base.num <= 0 || base.den <= 0) return std::nullopt;
  const std::int64_t us = av_rescale_q(ticks, base, AVRational{1, AV_TIME_BASE});
  if (us > kMost || us < -kMost) return std::nullopt;
  return Micros(us);
}

// Where libav's reads end up. Its address is what libav keeps, so it never moves.
struct Input::Source {
  Path path;
  std::unique_ptr<ReadFile> file;
  std::uint64_t size = 0;
  std::stop_token stop;
  std::uint64_t at = 0;
  std::optional<Error> trouble;  // the disk's own error, which libav would flatten to a number
  AVIOContext* io = nullptr;

  Source(Path the_path, std::unique_ptr<ReadFile> the_file, std::uint64_t the_size, std::stop_token the_stop)
      : path(std::move(the_path)), file(std::move(the_file)), size(the_size), stop(std::move(the_stop)) {
    auto* buffer = static_cast<unsigned char*>(av_malloc(kBuffer));
    io = avio_alloc_context(buffer, kBuffer, 0, this, &Source::read, nullptr, &Source::seek);
  }
  ~Source() {
    if (io) av_freep(&io->buffer);
    avio_context_free(&io);
  }
  Source(const Source&) = delete;
  Source& operator=(const Source&) = delete;

  static int read(void* self, std::uint8_t* buffer, int length) {
    auto& source = *static_cast<Source*>(self);
    if (source.stop.stop_requested()) return AVERROR_EXIT;
    if (source.trouble) return AVERROR(EIO);
    auto got =
        source.file->read(std::as_writable_bytes(std::span(buffer, static_cast<std::size_t>(length))), source.at);
    if (!got) {
      source.trouble = std::move(got.error());
      return AVERROR(EIO);
    }
    if (*got == 0) return AVERROR_EOF;
    source.at += *got;
    return static_cast<int>(*got);
  }

  static std::int64_t seek(void* self, std::int64_t offset, int whence) {
    auto& source = *static_cast<Source*>(self);
    const auto size = static_cast<std::int64_t>(source.size);
    switch (whence & ~AVSEEK_FORCE) {
      case AVSEEK_SIZE:
        return size;
      case SEEK_SET:
        break;
      case SEEK_CUR:
        offset += static_cast<std::int64_t>(source.at);
        break;
      case SEEK_END:
        offset += size;
        break;
      default:
        return AVERROR(EINVAL);
    }
    if (offset < 0) return AVERROR(EINVAL);
    source.at = static_cast<std::uint64_t>(offset);
    return offset;
  }

  static int asked_to_stop(void* self) { return static_cast<Source*>(self)->stop.stop_requested(); }

  // What stands above anything libav says.
  Result<void> check() const {
    if (stop.stop_requested()) return fail(Code::cancelled, shown(path.string()) + ": stopped");
    if (trouble) return tl::unexpected(*trouble);
    return {};
  }
};

Input::Input(std::unique_ptr<Source> source, FormatContext context)
    : source_(std::move(source)), context_(std::move(context)) {}
Input::Input(Input&&) noexcept = default;
Input& Input::operator=(Input&& other) noexcept {
  context_ = std::move(other.context_);
  source_ = std::move(other.source_);
  return *this;
}
Input::~Input() = default;

const Path& Input::path() const {
  return source_->path;
}

Result<std::optional<Input>> Input::open(const ReadFs& fs, const Path& path, std::stop_token stop) {
  silence();
  auto file = TRY(fs.open(path, Cache::use));
  const auto stat = TRY(file->stat());
  auto source = std::make_unique<Source>(path, std::move(file), stat.size, std::move(stop));
  FormatContext context(avformat_alloc_context());
  if (!source->io || !context) return fail(Code::io, shown(path.string()) + ": out of memory");
  context->pb = source->io;
  context->flags |= AVFMT_FLAG_CUSTOM_IO;
  context->io_open = refuse_other_files;
  context->interrupt_callback = {&Source::asked_to_stop, source.get()};
  context->format_whitelist = av_strdup(kFormats);
  context->max_streams = kMostStreams;
  context->probesize = kProbeBytes;

  AVFormatContext* raw = context.release();  // freed by avformat_open_input where it fails
  const int opened = avformat_open_input(&raw, "", nullptr, nullptr);
  context.reset(raw);
  const int known = opened < 0 ? opened : learn_streams(*raw);
  TRY(source->check());
  if (known < 0) return std::nullopt;
  return Input(std::move(source), std::move(context));
}

Result<void> Input::look_at_picture(int video) {
  constexpr int kMostPackets = 64;
  auto& coded = *context_->streams[video]->codecpar;
  if (coded.format != AV_PIX_FMT_NONE) return {};
  const auto decoder = open_decoder(*context_->streams[video]);
  if (!decoder) return {};
  // A decoder sets these before it asks for room for its first frame. That is refused, and so no frame is decoded.
  decoder->get_buffer2 = [](AVCodecContext*, AVFrame*, int) { return AVERROR_EXIT; };
  const auto packet = new_packet();
  const auto frame = new_frame();
  for (int i = 0; i < kMostPackets && decoder->pix_fmt == AV_PIX_FMT_NONE && TRY(read(*packet)); ++i) {
    if (packet->stream_index == video) {
      avcodec_send_packet(decoder.get(), packet.get());
      avcodec_receive_frame(decoder.get(), frame.get());
    }
    av_packet_unref(packet.get());
  }
  coded.format = decoder->pix_fmt;
  coded.bits_per_raw_sample = decoder->bits_per_raw_sample;
  coded.color_range = decoder->color_range;
  coded.color_trc = decoder->color_trc;
  return {};
}

Result<bool> Input::read(AVPacket& packet) {
  const int status = av_read_frame(context_.get(), &packet);
  TRY(source_->check());
  return status >= 0;
}

CodecContext open_decoder(const AVStream& stream) {
  const AVCodec* codec = avcodec_find_decoder(stream.codecpar->codec_id);
  if (!codec) return nullptr;
  CodecContext context(avcodec_alloc_context3(codec));
  if (!context || avcodec_parameters_to_context(context.get(), stream.codecpar) < 0) return nullptr;
  context->pkt_timebase = stream.time_base;
  if (avcodec_open2(context.get(), codec, nullptr) < 0) return nullptr;
  return context;
}

int main_video(const AVFormatContext& context) {
  int best = -1;
  std::int64_t most = -1;
  for (unsigned i = 0; i < context.nb_streams; ++i) {
    const AVStream& stream = *context.streams[i];
    if (stream.codecpar->codec_type != AVMEDIA_TYPE_VIDEO || is_cover(stream)) continue;
    const std::int64_t pixels = std::int64_t{stream.codecpar->width} * stream.codecpar->height;
    if (pixels > most) {
      best = static_cast<int>(i);
      most = pixels;
    }
  }
  return best;
}

int first_audio(const AVFormatContext& context) {
  for (unsigned i = 0; i < context.nb_streams; ++i) {
    const AVStream& stream = *context.streams[i];
    if (stream.codecpar->codec_type == AVMEDIA_TYPE_AUDIO && !has_no_samples(stream)) return static_cast<int>(i);
  }
  return -1;
}

}  // namespace everytake::media::av
