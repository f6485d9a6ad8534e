// What a container says of a recording, as plain values. Nothing here decides what to believe.
#pragma once

#include <map>
#include <optional>
#include <stop_token>
#include <string>
#include <vector>

#include "base/rational.h"
#include "os/fs.h"

namespace everytake::media {

using Tags = std::map<std::string, std::string>;  // names in lower case

struct Stream {
  enum class Type { video, audio, data, other };
  Type type = Type::other;
  bool picture = false;         // a cover picture, no moving one
  std::string codec;            // libavcodec's name: "h264"; empty where it has none
  std::string tag;              // four-character code: "avc1", "tmcd", "rtmd"
  std::optional<Micros> start;  // on the file's clock
  std::optional<Micros> duration;
  std::optional<std::int64_t> samples;  // in the sample table: frames of a video
  std::optional<Rational> rate;         // frames ÷ duration, exact where the container is
  std::optional<Rational> base_rate;    // the rate that all of its frames' times are multiples of
  int width = 0, height = 0;            // as coded
  std::optional<int> rotation;          // degrees clockwise that a display must turn it
  std::optional<int> bit_depth;
  std::string transfer;  // H.273 by libav's name: "smpte2084"; empty where unspecified
  bool full_range = false;
  int channels = 0;
  int sample_rate = 0;
  struct Extent {
    std::uint64_t begin = 0, end = 0;  // bytes of the file
  };
  std::optional<Extent> first_sample;      // by the index
  std::optional<std::uint64_t> last_byte;  // where its last sample ends, by the index
  Tags tags;
};

struct Container {
  std::string format;  // libavformat's name: "mov,mp4,m4a,3gp,3g2,mj2"
  std::optional<Micros> duration;
  std::vector<Stream> streams;
  int main_video = -1;   // index into streams; -1 where there is none
  int first_audio = -1;  // that has a sample
  Tags tags;
};

// nullopt where libav can't make a recording of the bytes. An Error only when the disk fails or `stop` asks.
Result<std::optional<Container>> read_container(const ReadFs& fs, const Path& path, std::stop_token stop);

}  // namespace everytake::media
