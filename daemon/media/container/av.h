// libav, owned and read through ReadFs. Only the av_* files include this header, and only they include libav's.
#pragma once

extern "C" {
#include <libavcodec/avcodec.h>
#include <libavformat/avformat.h>
#include <libavutil/frame.h>
}

#include <memory>
#include <optional>
#include <stop_token>
#include <string>

#include "base/rational.h"
#include "os/fs.h"

namespace everytake::media::av {

// Frees with one of libav's functions that take the address of the pointer.
template <auto free_function>
struct Freer {
  template <class T>
  void operator()(T* object) const {
    free_function(&object);
  }
};
using FormatContext = std::unique_ptr<AVFormatContext, Freer<avformat_close_input>>;
using CodecContext = std::unique_ptr<AVCodecContext, Freer<avcodec_free_context>>;
using Frame = std::unique_ptr<AVFrame, Freer<av_frame_free>>;
using Packet = std::unique_ptr<AVPacket, Freer<av_packet_free>>;

// Never nullptr: out of memory they throw std::bad_alloc.
Frame new_frame();
Packet new_packet();

// An AVERROR as one of ours: `doing`, then libav's words.
Error error_of(std::string doing, int averror);

// nullopt for 0/0 and everything else that is no rate.
std::optional<Rational> rate_of(AVRational rate);
// `ticks` of `base`; nullopt for AV_NOPTS_VALUE and for lengths past 100 years.
std::optional<Micros> micros_of(std::int64_t ticks, AVRational base);

// A recording opened for reading. It reads nothing but the one file, whatever that file asks for.
class Input {
 public:
  // nullopt where libav can't make a recording of the bytes. An Error only when the disk fails or `stop` asks.
  // Decodes some frames of each stream where the container doesn't tell what they are. MP4 and MOV tell all but the
  // form of the picture's samples: see look_at_picture().
  static Result<std::optional<Input>> open(const ReadFs& fs, const Path& path, std::stop_token stop);

  AVFormatContext* operator->() const { return context_.get(); }
  AVFormatContext* get() const { return context_.get(); }
  const Path& path() const;

  // Completes what is known of a video's samples and colours: what its decoder knows before it decodes the first frame.
  // Nothing may have been read before. An Error as open() gives it.
  Result<void> look_at_picture(int video);

  // The next packet of the streams not discarded; false at the end, and where the rest can't be understood.
  Result<bool> read(AVPacket& packet);

 private:
  struct Source;
  Input(std::unique_ptr<Source> source, FormatContext context);

 public:
  Input(Input&&) noexcept;
  Input& operator=(Input&&) noexcept;
  ~Input();

 private:
  std::unique_ptr<Source> source_;
  FormatContext context_;  // reads through source_, so it goes first
};

// A decoder for `stream`, ready; nullptr where there is none for it.
CodecContext open_decoder(const AVStream& stream);

// The video a person means: not a cover picture, and of several the one with most pixels. -1 where there is none.
int main_video(const AVFormatContext& context);
int first_audio(const AVFormatContext& context);  // that has a sample; -1 where there is none

}  // namespace everytake::media::av
