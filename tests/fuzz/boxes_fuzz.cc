// Any bytes as a recording's boxes, as an MXF file, as makers' notes and messages, and as timed metadata: nothing
// outside the file is read, and every walk ends.
#include <algorithm>
#include <array>
#include <cstdlib>
#include <cstring>

#include "media/container/boxes.h"
#include "media/metadata/maker_notes.h"
#include "media/metadata/mxf.h"
#include "media/metadata/timed_metadata.h"

namespace {

using namespace everytake;
using namespace everytake::media;

class Bytes final : public ReadFile {
 public:
  Bytes(const unsigned char* data, std::size_t size) : data_(data), size_(size) {}
  Result<std::size_t> read(std::span<std::byte> buffer, std::uint64_t offset) override {
    if (offset >= size_) return std::size_t{0};
    const auto count = std::min<std::uint64_t>(buffer.size(), size_ - offset);
    std::memcpy(buffer.data(), data_ + offset, count);
    return static_cast<std::size_t>(count);
  }
  Result<FileStat> stat() const override {
    FileStat stat;
    stat.type = FileType::regular;
    stat.size = size_;
    return stat;
  }
  Evidence evidence() const override { return Evidence::cached; }

 private:
  const unsigned char* data_;
  const std::uint64_t size_;
};

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const unsigned char* data, std::size_t size) {
  Bytes file(data, size);
  const auto top = read_boxes(file, 0, size);
  if (!top) return 0;
  for (const auto& box : *top) {
    if (box.begin > box.content || box.content < box.begin) std::abort();
    for (const bool entry : {false, true}) (void)read_children(file, box, entry);
    (void)read_bytes(file, box.content, box.end, 4096);
  }
  using Types = std::array<std::string_view, 6>;
  (void)find_boxes(file, Types{"moov", "trak", "mdia", "minf", "stbl", "stsd"});
  (void)find_boxes(file, std::array<std::string_view, 3>{"moov", "meta", "keys"});
  (void)mxf_end(file, size);
  (void)mxf_acquisition_sets(file, size);
  const std::string_view bytes(reinterpret_cast<const char*>(data), size);
  (void)canon_metadata(bytes);
  (void)fujifilm_metadata(bytes);
  (void)panasonic_metadata(bytes);
  (void)nikon_metadata(bytes, Rational(24000, 1001));
  (void)gopro_metadata(bytes);
  (void)dji_metadata(bytes, Rational(24000, 1001));
  (void)read_timed_metadata(bytes);
  return 0;
}
