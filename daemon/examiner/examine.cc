#include "examiner/examine.h"

#include <algorithm>
#include <cstring>

#include "examiner/examination.h"
#include "media/facts.h"
#include "media/picture/av_picture.h"
#include "media/picture/strip.h"
#include "media/sound/audio.h"
#include "os/heap_policy.h"

namespace everytake::examiner {
namespace {

constexpr std::uint64_t kMostSaid = std::max<std::uint64_t>(kMostPacked, kMostAsked);

// The files of the asking process.
class AskedFs final : public ReadFs {
 public:
  explicit AskedFs(Channel& channel) : channel_(channel) {}

  Result<FileStat> stat(const Path& path) const override {
    return unpack<FileStat>(TRY(ask(Say::look, pack(path), Say::answer)));
  }
  Result<std::unique_ptr<ReadFile>> open(const Path& path, Cache) const override;
  Result<std::vector<DirEntry>> list(const Path&) const override { return never(); }
  Result<Volume> volume() const override { return never(); }
  Result<void> still_there() const override { return never(); }

  // What is answered; an answer of another kind is why there is none.
  Result<std::string> ask(Say what, std::string_view body, Say answered_with) const {
    TRY(send(channel_, what, body));
    auto answer = TRY(channel_.receive(kMostSaid));
    if (!answer) return fail(Code::gone, "nobody asks any more");
    if (is(*answer, answered_with)) return std::move(answer->body);
    return tl::unexpected(TRY(unpack<Error>(answer->body)));
  }

 private:
  static tl::unexpected<Error> never() { return fail(Code::unsupported, "an examination looks at no folders"); }
  Channel& channel_;
};

class AskedFile final : public ReadFile {
 public:
  AskedFile(const AskedFs& fs, Path path) : fs_(fs), path_(std::move(path)) {}

  Result<std::size_t> read(std::span<std::byte> buffer, std::uint64_t offset) override {
    std::size_t got = 0;
    while (got < buffer.size()) {
      const std::uint64_t count = std::min<std::uint64_t>(buffer.size() - got, kMostAsked);
      const auto bytes = TRY(fs_.ask(Say::read, pack(FileRange{offset + got, count, path_}), Say::bytes));
      std::memcpy(buffer.data() + got, bytes.data(), std::min<std::size_t>(bytes.size(), count));
      got += std::min<std::size_t>(bytes.size(), count);
      if (bytes.size() < count) break;
    }
    return got;
  }
  Result<FileStat> stat() const override { return fs_.stat(path_); }
  Evidence evidence() const override { return Evidence::cached; }

 private:
  const AskedFs& fs_;
  const Path path_;
};

Result<std::unique_ptr<ReadFile>> AskedFs::open(const Path& path, Cache) const {
  TRY(stat(path));
  return std::make_unique<AskedFile>(*this, path);
}

Result<Finding> examine(const ReadFs& fs, const Examination& asked) {
  using Wanted = Examination::Wanted;
  const auto files = files_of(asked);
  if (asked.wanted != Wanted::facts && files.empty()) return fail(Code::invalid, "no recording is asked for");
  switch (asked.wanted) {
    case Wanted::facts:
      return Finding{pack(TRY(media::read_facts(fs, asked.folder, asked.files, asked.cameras, {})))};
    case Wanted::length:
      return Finding{pack(TRY(media::sound_length(fs, files[0])))};
    case Wanted::strip: {
      auto strip = TRY(media::picture_strip(fs, files, asked.known, {}));
      return Finding{pack(strip.seen), std::move(strip.jpeg)};
    }
    case Wanted::sound:
      break;
  }
  media::LevelMeter meter;
  const auto sound = TRY(media::decode_mono(fs, files[0], asked.rate_hz, {}, &meter));
  return Finding{pack(meter.levels()),
                 std::string(reinterpret_cast<const char*>(sound.data()), sound.size() * sizeof(float))};
}

Result<void> tell(Channel& channel, const Result<Finding>& found) {
  if (!found) return send(channel, Say::trouble, pack(found.error()));
  if (!found->bytes.empty()) TRY(send(channel, Say::bytes, found->bytes));
  return send(channel, Say::result, found->result);
}

}  // namespace

int run_examination(Descriptor socket) {
  keep_memory();
  Channel channel(std::move(socket));
  const auto first = channel.receive(kMostSaid);
  if (!first || !*first) return 1;
  const auto asked = unpack<Examination>((*first)->body);
  if (!asked) return 1;
  const auto confined = confine(asked->limits);
  const auto found = confined ? examine(AskedFs(channel), *asked) : tl::unexpected(confined.error());
  return tell(channel, found) ? 0 : 1;
}

}  // namespace everytake::examiner
