#include "media/av_picture.h"

#include <algorithm>
#include <array>

#include "media/av_image.h"

namespace everytake {
namespace {

constexpr int kLongest = 480;  // pixels, of each frame
constexpr std::array kPlaces = {0.0, 0.25, 0.5, 0.75, 1.0};
constexpr int kLongestWait = 1500;  // packets of the video from where a seek lands to the frame meant

class Frames {
 public:
  Frames(av::Input& input, int video)
      : input_(input), stream_(*input->streams[video]), decoder_(av::open_decoder(stream_)) {
    for (unsigned i = 0; i < input->nb_streams; ++i)
      if (static_cast<int>(i) != video) input->streams[i]->discard = AVDISCARD_ALL;
  }

  bool can_decode() const { return decoder_ != nullptr; }

  // The frame shown at `time` after the first; the last one where there is none so late. nullptr where none decodes.
  Result<av::Frame> at(Micros time) {
    const auto first = stream_.start_time == AV_NOPTS_VALUE ? 0 : stream_.start_time;
    const auto target = first + av_rescale_q(time.count(), AVRational{1, AV_TIME_BASE}, stream_.time_base);
    const bool moved = av_seek_frame(input_.get(), stream_.index, target, AVSEEK_FLAG_BACKWARD) >= 0;
    avcodec_flush_buffers(decoder_.get());
    best_.reset();
    if (!moved && time > Micros::zero()) return nullptr;
    const av::Packet packet(av_packet_alloc());
    for (int i = 0; i < kLongestWait;) {
      if (!TRY(input_.read(*packet))) {
        take(nullptr, target);
        break;
      }
      const bool ours = packet->stream_index == stream_.index;
      const bool found = ours && take(packet.get(), target);
      av_packet_unref(packet.get());
      if (found) break;
      if (ours) ++i;
    }
    return std::move(best_);
  }

 private:
  // True once the frame at `target` is in best_. A damaged packet is a hole.
  bool take(const AVPacket* packet, std::int64_t target) {
    if (avcodec_send_packet(decoder_.get(), packet) < 0) return false;
    for (;;) {
      av::Frame frame(av_frame_alloc());
      if (!frame || avcodec_receive_frame(decoder_.get(), frame.get()) < 0) return false;
      const auto time = frame->best_effort_timestamp;
      best_ = std::move(frame);
      if (time == AV_NOPTS_VALUE || time >= target) return true;
    }
  }

  av::Input& input_;
  AVStream& stream_;
  av::CodecContext decoder_;
  av::Frame best_;
};

// The frame at the end is the last one, not the moment after it.
Micros time_of(double place, Micros length, const ClipFacts& facts) {
  const double frame = facts.frame_rate ? 1e6 / facts.frame_rate->value() : 40'000;
  const double last = std::max(0.0, static_cast<double>(length.count()) - 1.5 * frame);
  return Micros(std::llround(place * last));
}

}  // namespace

Result<std::optional<std::string>> picture_strip(const ReadFs& fs, const Path& video, const ClipFacts& facts,
                                                 std::stop_token stop) {
  auto input = TRY(av::Input::open(fs, video, std::move(stop)));
  const int index = input ? av::main_video(*input->get()) : -1;
  if (index < 0) return std::nullopt;
  Frames frames(*input, index);
  if (!frames.can_decode()) return std::nullopt;
  std::vector<av::Image> seen, black;
  for (const double place : kPlaces) {
    const auto frame = TRY(frames.at(time_of(place, facts.duration.value_or(Micros::zero()), facts)));
    auto image = frame ? av::image_of(*frame, facts, kLongest) : std::nullopt;
    if (!image || (!seen.empty() && seen.front().height != image->height)) continue;
    (av::is_black(*image) ? black : seen).push_back(std::move(*image));
    if (!facts.duration) break;
  }
  if (seen.empty() && !black.empty()) seen.push_back(std::move(black.front()));
  return av::jpeg_of(seen);
}

}  // namespace everytake
