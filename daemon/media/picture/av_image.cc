#include "media/picture/av_image.h"

#include <algorithm>
#include <cmath>

extern "C" {
#include <libavutil/pixdesc.h>
#include <libswscale/swscale.h>
}

namespace everytake::media::av {
namespace {

constexpr int kDark = 24;  // of 255 in sRGB: 1 % of white

using Scaler = std::unique_ptr<SwsContext, decltype(&sws_freeContext)>;

Frame blank(int width, int height, AVPixelFormat format) {
  auto frame = new_frame();
  frame->width = width;
  frame->height = height;
  frame->format = format;
  if (av_frame_get_buffer(frame.get(), 0) < 0) return nullptr;
  return frame;
}

// Weights of red and blue in luma (ITU-R BT.601, BT.709, BT.2020). BT.709 where the stream does not say.
struct Luma {
  double red, blue;
};
Luma luma_of(AVColorSpace space) {
  switch (space) {
    case AVCOL_SPC_BT470BG:
    case AVCOL_SPC_SMPTE170M:
    case AVCOL_SPC_FCC:
      return {0.299, 0.114};
    case AVCOL_SPC_BT2020_NCL:
    case AVCOL_SPC_BT2020_CL:
      return {0.2627, 0.0593};
    default:
      return {0.2126, 0.0722};
  }
}

bool is_full_range(const AVFrame& frame, const AVPixFmtDescriptor& format) {
  switch (frame.format) {
    case AV_PIX_FMT_YUVJ420P:
    case AV_PIX_FMT_YUVJ422P:
    case AV_PIX_FMT_YUVJ444P:
    case AV_PIX_FMT_YUVJ440P:
      return true;
    default:
      return frame.color_range == AVCOL_RANGE_JPEG && !(format.flags & AV_PIX_FMT_FLAG_RGB);
  }
}

// Even width and height at most `longest`, with square pixels.
std::pair<int, int> size_within(const AVFrame& frame, int longest) {
  const auto sample = frame.sample_aspect_ratio;
  const double stretch = sample.num > 0 && sample.den > 0 ? std::clamp(av_q2d(sample), 0.25, 4.0) : 1;
  const double width = frame.width * stretch, height = frame.height;
  const double scale = std::min(1.0, longest / std::max(width, height));
  const auto even = [&](double length) { return std::max(2, static_cast<int>(std::lround(length * scale / 2)) * 2); };
  return {even(width), even(height)};
}

// Scaled as it is coded: no matrix and no change of range, so nothing beyond white is lost.
Frame scaled(const AVFrame& frame, std::pair<int, int> size) {
  auto small = blank(size.first, size.second, AV_PIX_FMT_YUV444P16LE);
  const Scaler scaler(
      sws_getContext(frame.width, frame.height, static_cast<AVPixelFormat>(frame.format), size.first, size.second,
                     AV_PIX_FMT_YUV444P16LE, SWS_AREA | SWS_ACCURATE_RND, nullptr, nullptr, nullptr),
      &sws_freeContext);
  if (!small || !scaler) return nullptr;
  const int* bt709 = sws_getCoefficients(SWS_CS_ITU709);
  sws_setColorspaceDetails(scaler.get(), bt709, 0, bt709, 0, 0, 1 << 16, 1 << 16);
  if (sws_scale(scaler.get(), frame.data, frame.linesize, 0, frame.height, small->data, small->linesize) <= 0)
    return nullptr;
  return small;
}

// Y'CbCr as libswscale widens it to 16 bits, to R'G'B'.
class Decoder {
 public:
  Decoder(const AVFrame& frame, const AVPixFmtDescriptor& format) {
    const Luma luma = luma_of(frame.colorspace);
    full_ = is_full_range(frame, format);
    const int depth = std::clamp(format.comp[0].depth, 8, 16);
    const double one = full_ ? ((1 << depth) - 1) * double(1 << (16 - depth)) : 256.0;  // a step of 8-bit video
    black_ = static_cast<float>(full_ ? 0 : 16 * one);
    luma_scale_ = static_cast<float>(1 / (full_ ? one : 219 * one));
    const double chroma_scale = 1 / (full_ ? one : 224 * one), green = 1 - luma.red - luma.blue;
    red_ = static_cast<float>(2 * (1 - luma.red) * chroma_scale);
    blue_ = static_cast<float>(2 * (1 - luma.blue) * chroma_scale);
    green_red_ = static_cast<float>(luma.red / green) * red_;
    green_blue_ = static_cast<float>(luma.blue / green) * blue_;
  }

  bool full() const { return full_; }

  std::array<float, 3> operator()(std::uint16_t y_code, std::uint16_t cb_code, std::uint16_t cr_code) const {
    const float y = (static_cast<float>(y_code) - black_) * luma_scale_;
    const float cb = static_cast<float>(cb_code) - 32768, cr = static_cast<float>(cr_code) - 32768;
    return {y + red_ * cr, y - green_red_ * cr - green_blue_ * cb, y + blue_ * cb};
  }

 private:
  bool full_ = false;
  float black_ = 0, luma_scale_ = 1, red_ = 0, blue_ = 0, green_red_ = 0, green_blue_ = 0;
};

std::uint16_t sample(const AVFrame& frame, int plane, int x, int y) {
  return reinterpret_cast<const std::uint16_t*>(frame.data[plane] + std::ptrdiff_t{y} * frame.linesize[plane])[x];
}

// Where the upright image's pixel (x, y) lies in the coded one.
std::pair<int, int> source_of(int x, int y, const AVFrame& coded, int clockwise) {
  switch (clockwise) {
    case 90:
      return {y, coded.height - 1 - x};
    case 180:
      return {coded.width - 1 - x, coded.height - 1 - y};
    case 270:
      return {coded.width - 1 - y, x};
    default:
      return {x, y};
  }
}

std::string encoded(AVCodecContext& codec, const AVFrame& frame) {
  const auto packet = new_packet();
  if (avcodec_send_frame(&codec, &frame) < 0 || avcodec_receive_packet(&codec, packet.get()) < 0) return {};
  return {reinterpret_cast<const char*>(packet->data), static_cast<std::size_t>(packet->size)};
}

Image joined(std::span<const Image> images) {
  Image all{0, images.front().height, {}};
  for (const auto& image : images) all.width += image.width;
  for (int y = 0; y < all.height; ++y)
    for (const auto& image : images) {
      const auto row = image.pixels.begin() + std::ptrdiff_t{y} * image.width * 3;
      all.pixels.insert(all.pixels.end(), row, row + std::ptrdiff_t{image.width} * 3);
    }
  return all;
}

// To what JFIF wants: BT.601's matrix, all codes in use.
Frame jfif(const Image& image) {
  auto frame = blank(image.width, image.height, AV_PIX_FMT_YUVJ444P);
  const Scaler scaler(sws_getContext(image.width, image.height, AV_PIX_FMT_RGB24, image.width, image.height,
                                     AV_PIX_FMT_YUVJ444P, SWS_BILINEAR | SWS_ACCURATE_RND, nullptr, nullptr, nullptr),
                      &sws_freeContext);
  if (!frame || !scaler) return nullptr;
  const int* bt601 = sws_getCoefficients(SWS_CS_ITU601);
  sws_setColorspaceDetails(scaler.get(), bt601, 1, bt601, 1, 0, 1 << 16, 1 << 16);
  const std::uint8_t* rows[] = {image.pixels.data()};
  const int lengths[] = {image.width * 3};
  if (sws_scale(scaler.get(), rows, lengths, 0, image.height, frame->data, frame->linesize) <= 0) return nullptr;
  return frame;
}

}  // namespace

const DisplayTable& Printing::table(bool full_range) {
  auto& table = tables_[full_range];
  if (!table) table.emplace(DisplayTransform(facts_.gamma.value_or(""), facts_.gamut.value_or(""), full_range));
  return *table;
}

std::optional<Image> Printing::image_of(const AVFrame& frame, int longest) {
  const auto* format = av_pix_fmt_desc_get(static_cast<AVPixelFormat>(frame.format));
  if (!format || frame.width <= 0 || frame.height <= 0) return std::nullopt;
  const auto small = scaled(frame, size_within(frame, longest));
  if (!small) return std::nullopt;
  const int turn = facts_.rotation.value_or(0);
  const bool on_side = turn == 90 || turn == 270;
  Image image{on_side ? small->height : small->width, on_side ? small->width : small->height, {}};
  image.pixels.reserve(static_cast<std::size_t>(image.width) * static_cast<std::size_t>(image.height) * 3);
  const Decoder decode(frame, *format);
  const auto& display = table(decode.full());
  for (int y = 0; y < image.height; ++y)
    for (int x = 0; x < image.width; ++x) {
      const auto [from_x, from_y] = source_of(x, y, *small, turn);
      const auto shown = display(decode(sample(*small, 0, from_x, from_y), sample(*small, 1, from_x, from_y),
                                        sample(*small, 2, from_x, from_y)));
      image.pixels.insert(image.pixels.end(), shown.begin(), shown.end());
    }
  return image;
}

bool is_black(const Image& image) {
  constexpr std::size_t kBrightPart = 500;  // one value in so many may be brighter: hot pixels
  const auto bright = std::count_if(image.pixels.begin(), image.pixels.end(), [](auto value) { return value > kDark; });
  return static_cast<std::size_t>(bright) * kBrightPart < image.pixels.size();
}

std::optional<std::string> jpeg_of(std::span<const Image> images) {
  if (images.empty()) return std::nullopt;
  constexpr int kQuality = 3;  // of 2 (best) to 31
  const Image all = joined(images);
  const auto frame = jfif(all);
  const AVCodec* encoder = avcodec_find_encoder(AV_CODEC_ID_MJPEG);
  const CodecContext codec(avcodec_alloc_context3(encoder));
  if (!frame || !encoder || !codec) return std::nullopt;
  codec->width = all.width;
  codec->height = all.height;
  codec->pix_fmt = AV_PIX_FMT_YUVJ444P;
  codec->color_range = AVCOL_RANGE_JPEG;
  codec->time_base = {1, 1};
  codec->flags |= AV_CODEC_FLAG_QSCALE | AV_CODEC_FLAG_BITEXACT;
  codec->global_quality = frame->quality = FF_QP2LAMBDA * kQuality;
  frame->pts = 0;
  if (avcodec_open2(codec.get(), encoder, nullptr) < 0) return std::nullopt;
  auto bytes = encoded(*codec, *frame);
  if (bytes.empty()) return std::nullopt;
  return bytes;
}

}  // namespace everytake::media::av
