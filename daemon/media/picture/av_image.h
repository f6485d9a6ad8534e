// One decoded frame as a small upright sRGB image, and images as a JPEG. Only the av_* files include this.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "media/container/av.h"
#include "media/gamma.h"
#include "model.h"

namespace everytake::media::av {

// sRGB, three bytes a pixel, rows from the top without gaps.
struct Image {
  int width = 0, height = 0;
  std::vector<std::uint8_t> pixels;
};

// Makes images of the frames of one recording.
class Printing {
 public:
  explicit Printing(const ClipFacts& facts) : facts_(facts) {}

  // The frame in a box of `longest` pixels, with its pixels made square, turned clockwise by the rotation of the
  // facts, and shown by DisplayTransform. nullopt where libswscale can't take the frame.
  std::optional<Image> image_of(const AVFrame& frame, int longest);

 private:
  const DisplayTable& table(bool full_range);

  const ClipFacts& facts_;
  std::optional<DisplayTable> tables_[2];  // for video range and for full range, made when first needed
};

bool is_black(const Image& image);  // also what is seen through a lens cap: nothing but noise in the deepest shadow

// Side by side from left to right; all must be equally high. nullopt where the encoder refuses.
std::optional<std::string> jpeg_of(std::span<const Image> images);

}  // namespace everytake::media::av
