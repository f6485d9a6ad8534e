#include "media/picture/av_picture.h"

#include <algorithm>
#include <array>
#include <cmath>

#include "media/picture/av_image.h"

namespace everytake::media {
namespace {

constexpr int kLongest = 480;  // pixels, of each frame
constexpr std::array kPlaces = {0.0, 0.25, 0.5, 0.75, 1.0};
constexpr int kLongestWait = 1500;  // packets of the video from where a seek lands to the frame meant

// The frames of one file.
class Frames {
 public:
  // nullptr where there is nothing to decode.
  static Result<std::unique_ptr<Frames>> open(const ReadFs& fs, const Path& video, std::stop_token stop) {
    auto input = TRY(av::Input::open(fs, video, std::move(stop)));
    const int index = input ? av::main_video(*input->get()) : -1;
    if (index < 0) return nullptr;
    auto frames = std::unique_ptr<Frames>(new Frames(std::move(*input), index));
    if (!frames->decoder_) return nullptr;
    return frames;
  }

  std::optional<Micros> length() const {
    const auto own = av::micros_of(stream_.duration, stream_.time_base);
    return own ? own : av::micros_of(input_->duration, AVRational{1, AV_TIME_BASE});
  }
  double frame_length() const {  // µs
    return stream_.avg_frame_rate.num > 0 ? 1e6 / av_q2d(stream_.avg_frame_rate) : 40'000;
  }

  // The frame shown at `time` after the first, or the key frame nearest to it where that is not further off than
  // `slack`; the last one where there is none so late. nullptr where none decodes.
  Result<av::Frame> at(Micros time, Micros slack) {
    const auto target = first() + ticks(time);
    if (auto key = TRY(key_frame(target, ticks(slack)))) return key;
    return frame_at(target);
  }

 private:
  Frames(av::Input input, int video)
      : input_(std::move(input)), stream_(*input_->streams[video]), decoder_(av::open_decoder(stream_)) {
    for (unsigned i = 0; i < input_->nb_streams; ++i)
      if (static_cast<int>(i) != video) input_->streams[i]->discard = AVDISCARD_ALL;
    if (decoder_) decoder_->skip_loop_filter = AVDISCARD_ALL;  // its edges are smaller than a pixel of the strip
  }

  std::int64_t first() const { return stream_.start_time == AV_NOPTS_VALUE ? 0 : stream_.start_time; }
  std::int64_t ticks(Micros time) const {
    return av_rescale_q(time.count(), AVRational{1, AV_TIME_BASE}, stream_.time_base);
  }

  bool seek(std::int64_t target) {
    best_.reset();
    avcodec_flush_buffers(decoder_.get());
    return av_seek_frame(input_.get(), stream_.index, target, AVSEEK_FLAG_BACKWARD) >= 0;
  }

  // Of the key frames around `target`, by the index, the nearer one's time.
  std::int64_t nearest_key(std::int64_t target) const {
    const auto time_of = [this](int i) {
      const auto* entry = i < 0 ? nullptr : avformat_index_get_entry(&stream_, i);
      return entry ? std::optional(entry->timestamp) : std::nullopt;
    };
    const auto before = time_of(av_index_search_timestamp(&stream_, target, AVSEEK_FLAG_BACKWARD));
    const auto after = time_of(av_index_search_timestamp(&stream_, target, 0));
    return after && (!before || *after - target < target - *before) ? *after : target;
  }

  // One packet decoded by itself: no other frame is needed for it. Never the same one twice in a row.
  Result<av::Frame> key_frame(std::int64_t target, std::int64_t slack) {
    if (!seek(nearest_key(target))) return nullptr;
    const auto packet = av::new_packet();
    for (int i = 0; i < kLongestWait; ++i) {
      if (!TRY(input_.read(*packet))) return nullptr;
      const bool ours = packet->stream_index == stream_.index;
      const auto time = packet->pts != AV_NOPTS_VALUE ? packet->pts : packet->dts;
      const bool near = packet->flags & AV_PKT_FLAG_KEY && time != AV_NOPTS_VALUE && std::abs(time - target) <= slack;
      if (ours && near && time != shown_) {
        shown_ = time;
        take(packet.get(), INT64_MAX);
        take(nullptr, INT64_MAX);
      }
      av_packet_unref(packet.get());
      if (ours) break;
    }
    return std::move(best_);
  }

  // From the key frame before it on.
  Result<av::Frame> frame_at(std::int64_t target) {
    if (!seek(target) && target > first()) return nullptr;
    decoder_->skip_frame = AVDISCARD_BIDIR;  // no other frame needs these, and they are few in a row
    const auto packet = av::new_packet();
    bool found = false;
    for (int i = 0; i < kLongestWait && !found;) {
      if (!TRY(input_.read(*packet))) break;
      const bool ours = packet->stream_index == stream_.index;
      found = ours && take(packet.get(), target);
      av_packet_unref(packet.get());
      i += ours;
    }
    if (!found) take(nullptr, target);
    decoder_->skip_frame = AVDISCARD_DEFAULT;
    return std::move(best_);
  }

  // True once the frame at `target` is in best_. A damaged packet is a hole.
  bool take(const AVPacket* packet, std::int64_t target) {
    if (avcodec_send_packet(decoder_.get(), packet) < 0) return false;
    for (;;) {
      auto frame = av::new_frame();
      if (avcodec_receive_frame(decoder_.get(), frame.get()) < 0) return false;
      const auto time = frame->best_effort_timestamp;
      best_ = std::move(frame);
      if (time == AV_NOPTS_VALUE || time >= target) return true;
    }
  }

  av::Input input_;
  AVStream& stream_;
  av::CodecContext decoder_;
  av::Frame best_;
  std::int64_t shown_ = AV_NOPTS_VALUE;  // the time of the last key frame shown by itself
};

// The files of a recording, one after the other.
class Reel {
 public:
  static Result<Reel> open(const ReadFs& fs, std::span<const Path> videos, const ClipFacts& facts,
                           std::stop_token stop) {
    Reel reel;
    for (const auto& video : videos) {
      auto frames = TRY(Frames::open(fs, video, stop));
      if (!frames) continue;
      const auto length = videos.size() == 1 && facts.duration ? facts.duration : frames->length();
      reel.parts_.push_back({std::move(frames), length.value_or(Micros::zero())});
    }
    return reel;
  }

  bool is_empty() const { return parts_.empty(); }
  Micros length() const {
    Micros sum{};
    for (const auto& part : parts_) sum += part.length;
    return sum;
  }

  // The frame at this part of the length, 0…1. At the end it is the last one, not the moment after it.
  Result<av::Frame> at(double place) {
    // A strip is a glance: half the way to its next frame is near enough, and so is half a second.
    const Micros slack = std::max<Micros>(length() / (2 * (kPlaces.size() - 1)), std::chrono::milliseconds(500));
    Micros time(std::llround(place * static_cast<double>(length().count())));
    auto part = parts_.begin();
    for (; part + 1 != parts_.end() && time >= part->length; ++part) time -= part->length;
    const double last = static_cast<double>(part->length.count()) - 1.5 * part->frames->frame_length();
    return part->frames->at(std::min(time, Micros(std::llround(std::max(0.0, last)))), slack);
  }

 private:
  struct Part {
    std::unique_ptr<Frames> frames;
    Micros length;
  };
  std::vector<Part> parts_;
};

}  // namespace

Result<Strip> picture_strip(const ReadFs& fs, std::span<const Path> videos, const ClipFacts& facts,
                            std::stop_token stop) {
  auto reel = TRY(Reel::open(fs, videos, facts, std::move(stop)));
  Strip strip;
  if (reel.is_empty()) return strip;
  av::Printing printing(facts);
  std::vector<av::Image> seen, black;
  for (const double place : kPlaces) {
    const auto frame = TRY(reel.at(place));
    auto image = frame ? printing.image_of(*frame, kLongest) : std::nullopt;
    if (image) {
      const bool is_black = av::is_black(*image);
      ++strip.seen.frames;
      strip.seen.black += is_black;
      auto& shelf = is_black ? black : seen;
      if (shelf.empty() || shelf.front().height == image->height) shelf.push_back(std::move(*image));
    }
    if (reel.length() == Micros::zero()) break;
  }
  if (seen.empty() && !black.empty()) seen.push_back(std::move(black.front()));
  strip.jpeg = av::jpeg_of(seen).value_or("");
  return strip;
}

}  // namespace everytake::media
